// The driver for gauges behind a serial device server, and for instruments with a network of their own: raw
// bytes over TCP, this end calls.
//
// - A connection is open only once it has lasted a moment: a server that serves one program at a time takes a
//   second one and closes it at once, and that is an attempt that failed, not a port that was lost.
// - Silence is not loss: a gauge that only speaks when pressed is quiet for hours. A far end that is gone
//   without a word (power, cable) is found by the kernel's keep-alive and user time-out.
// - A network does not keep the pauses between bytes. Times of the dialect that tell a beginning or an end by
//   a pause are stretched (`for_network`), and a dialect whose frames end by a pause is refused.
// - The bytes travel as they are: who can reach the network between can read and change them.
#pragma once

#include <boost/asio/ip/tcp.hpp>

#include "drivers/ports/name_lookup.hpp"
#include "drivers/ports/stream_port.hpp"

namespace tallystick::ports {

/// The dialect with times that a network can keep. A segment that was lost is sent again after 0.2 s at
/// least, then after twice that, and so on (Linux; RFC 6298 asks for 1 s): what looks like the end of a
/// transmission may be its middle.
std::shared_ptr<const Dialect> for_network(const std::shared_ptr<const Dialect>& dialect);

class TcpPort : public StreamPort {
 public:
  TcpPort(PortConfig config, const Surroundings& surroundings,
          NameLookup::Ask ask_name = NameLookup::ask_system);

 private:
  std::optional<Opening> open_wire() override;
  void give_up_opening() override;
  Error ended(const std::string& how) const override;

  void call_all(TcpAddresses addresses);
  boost::asio::awaitable<void> call(std::shared_ptr<StreamPort> self, std::uint64_t attempt,
                                    TcpAddresses addresses);
  boost::asio::awaitable<Opening> call_one(boost::asio::ip::tcp::endpoint address,
                                           std::chrono::milliseconds patience);
  void cancel_after(std::chrono::milliseconds time);
  Error refusal(const std::string& address, const boost::system::error_code& error) const;
  Error refused_at_once(const std::string& address, const std::string& how) const;
  std::string where() const { return "port " + config_.name; }

  NameLookup lookup_;
  boost::asio::steady_timer deadline_;
  std::shared_ptr<boost::asio::ip::tcp::socket> socket_;  ///< while it is being called
  std::uint64_t attempt_ = 0;                             ///< an answer to an earlier one is not wanted
};

}  // namespace tallystick::ports
