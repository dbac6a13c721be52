// The receiving end of a page: a WebSocket (RFC 6455) read frame by frame, with nothing between the socket
// and the clock. Hand-made because a library's buffers would hide when a message came; only what a page's end
// needs is here.
#pragma once

#include <cstddef>
#include <string>

namespace tallystick::bench {

class Display {
 public:
  /// Connects to "host:port" as a display of `bench`, and takes the first view. Ends the process where it
  /// cannot.
  Display(const std::string& address, const std::string& bench, const std::string& name);
  ~Display();
  Display(Display&& other) noexcept;
  Display(const Display&) = delete;
  Display& operator=(const Display&) = delete;

  int descriptor() const { return socket_; }
  /// Takes what the socket has, without waiting. Pings are answered.
  void receive();
  /// The next whole message of those received; false where there is none.
  bool next(std::string& message);
  /// Forgets all whole messages received: how many, and their bytes.
  std::size_t drop_all(std::size_t& bytes);

 private:
  bool frame(std::size_t& head, std::size_t& length, unsigned& kind) const;
  void send_all(const std::string& bytes);
  void answer_ping(const std::string& payload);

  int socket_ = -1;
  std::string buffer_;
};

}  // namespace tallystick::bench
