// The daemon's server: HTTP and WebSocket on a loopback address, and the same routes on a Unix socket for the
// command line. API.md describes the routes. Runs on the io_context that it is given (one thread); what may
// block runs on a small pool of its own.
#pragma once

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <cstdint>
#include <memory>
#include <string>

#include "daemon/measure/error.hpp"
#include "daemon/serve/routes.hpp"
#include "daemon/walk/desk_door.hpp"

namespace tallystick::serve {

struct ServeConfig {
  std::string address = "127.0.0.1";  ///< a loopback address; any other is refused until people can sign in
  std::uint16_t port = 7411;          ///< 0: any free one, see Server::port()
  std::string unix_socket;            ///< path of the Unix socket, mode 0660; empty: none
  std::size_t connections_max = 512;
  std::size_t header_bytes_max = 8 * 1024;
  std::size_t body_bytes_max = 64 * 1024;
  std::size_t pool_threads = 2;
  std::chrono::milliseconds request_time{10'000};  ///< from a request's start until all of it has come
  std::chrono::milliseconds idle_time{60'000};     ///< an open connection without a request
  std::chrono::milliseconds write_time{10'000};    ///< one message or one piece of an answer to a slow reader
  std::chrono::milliseconds answer_time{30'000};   ///< until a command or a handler has answered
  std::chrono::milliseconds silence_time{20'000};  ///< a WebSocket whose other end answers no ping
  std::chrono::milliseconds alive_time{5'000};     ///< between signs of life to a page
  std::chrono::milliseconds display_grace{
      3'000};  ///< a display that comes back within this time has not gone
};

class Inside;

class Server {
 public:
  /// Listens and begins to serve. `io` and `desk` must outlive the server. Takes desk.on_view_changed for
  /// itself. Errors: "not_loopback", "bad_address", "port_taken", "socket_taken", "cannot_listen".
  static Expected<std::unique_ptr<Server>> start(boost::asio::io_context& io, ServeConfig config,
                                                 walk::DeskDoor& desk, Surroundings surroundings);
  ~Server();
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;

  /// The port that is listened on.
  std::uint16_t port() const;
  std::size_t connections() const;
  /// Ends all connections and the listening, waits for the pool, removes the Unix socket. I/O thread, or
  /// after the io_context has stopped. The desk is not called any more.
  void stop();

 private:
  explicit Server(std::shared_ptr<Inside> inside);
  std::shared_ptr<Inside> inside_;
};

}  // namespace tallystick::serve
