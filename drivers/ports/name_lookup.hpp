// From a host's name to its addresses, off the loop's thread: the system's name service may take long.
#pragma once

#include <boost/asio/ip/tcp.hpp>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::ports {

using TcpAddresses = std::vector<boost::asio::ip::tcp::endpoint>;

/// One lookup at a time, in a thread of its own that nobody ever waits for (Asio's resolver has one thread
/// for all names, and waits for it when the program ends). Used on the loop's thread; destroyed or forgotten
/// before the loop.
class NameLookup {
 public:
  using Found = std::function<void(Expected<TcpAddresses>)>;
  /// Blocking. Error "port_absent": no such name, or nobody who knows it can be reached.
  using Ask = std::function<Expected<TcpAddresses>(const std::string& host, int port)>;

  explicit NameLookup(boost::asio::io_context& loop, Ask ask = ask_system);
  ~NameLookup();
  NameLookup(const NameLookup&) = delete;
  NameLookup& operator=(const NameLookup&) = delete;

  /// `found` is called once on the loop's thread, never from within `start`. While an earlier question is
  /// still out (always the same one: a port has one address), its answer goes to the new `found`.
  void start(const std::string& host, int port, Found found);
  /// No call comes any more; a thread that still waits ends by itself.
  void forget();

  static Expected<TcpAddresses> ask_system(const std::string& host, int port);

 private:
  struct Shared;
  boost::asio::io_context& loop_;
  Ask ask_;
  std::shared_ptr<Shared> shared_;
};

}  // namespace tallystick::ports
