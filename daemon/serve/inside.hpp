// What listeners and connections share. Internal to this room; I/O thread only, but for the pool.
#pragma once

#include <boost/asio/generic/stream_protocol.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <functional>
#include <map>
#include <memory>
#include <string>

#include "daemon/serve/bench_feed.hpp"
#include "daemon/serve/displays.hpp"
#include "daemon/serve/routes.hpp"
#include "daemon/serve/server.hpp"

namespace tallystick::serve {

/// TCP and Unix connections alike, so that the HTTP library is compiled once.
using Socket = boost::asio::generic::stream_protocol::socket;

class Inside : public std::enable_shared_from_this<Inside> {
 public:
  Inside(boost::asio::io_context& context, ServeConfig settings, walk::DeskDoor& door, Surroundings around);

  Done listen();
  void stop();
  void view_changed(const std::string& bench);
  BenchFeed& feed(const std::string& bench);
  bool update(BenchFeed& feed, const std::string& bench);

  boost::asio::io_context& io;
  const ServeConfig config;
  walk::DeskDoor& desk;
  const Surroundings surroundings;
  boost::asio::thread_pool pool;
  Routes routes;
  Displays displays;
  std::uint16_t port = 0;
  bool stopped = false;
  std::map<std::uint64_t, std::function<void()>> connections;  ///< how to end each
  std::multimap<std::string, std::function<void()>*> viewers;  ///< by bench: how to wake each

 private:
  Done listen_tcp();
  Done listen_unix();
  template <class Acceptor>
  void accept_next(Acceptor& acceptor, bool local);

  boost::asio::ip::tcp::acceptor tcp_;
  boost::asio::local::stream_protocol::acceptor unix_;
  boost::asio::steady_timer tcp_pause_, unix_pause_;
  std::map<std::string, BenchFeed> feeds_;
  std::uint64_t next_connection_ = 0;
};

/// Serves one connection until it ends (connection.cpp). `number` is its key in inside->connections.
void serve_connection(std::shared_ptr<Inside> inside, Socket socket, bool local, std::uint64_t number);

}  // namespace tallystick::serve
