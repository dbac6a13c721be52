// A client that says exactly the bytes that a test wants said: plain sockets, blocking, with a time-out.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>

namespace tallystick::test {

struct Response {
  int status = 0;                              ///< 0: the connection ended before an answer
  std::map<std::string, std::string> headers;  ///< names in lower case
  std::string body;                            ///< chunks joined
  bool whole = false;                          ///< all of the body came
};

class Line {
 public:
  static Line to_port(std::uint16_t port, int receive_buffer = 0);
  static Line to_path(const std::string& path);
  Line(Line&& other) noexcept;
  Line(const Line&) = delete;
  ~Line();

  bool connected() const { return socket_ >= 0; }
  bool send(std::string_view bytes);
  /// One whole answer; `head`: the request was HEAD, so no body follows.
  Response receive(bool head = false);
  /// "GET /x HTTP/1.1\r\nHost: ...\r\n<extra>\r\n" and the answer.
  Response get(const std::string& path, const std::string& extra = "", const std::string& method = "GET");
  Response post(const std::string& path, const std::string& body, const std::string& extra = "");
  /// True where the other end has closed (waits for that, for at most `seconds`).
  bool closed(int seconds = 5);

  /// Opens the WebSocket at `path`; the status of the answer.
  int open_live(const std::string& path, const std::string& extra = "");
  /// The next text message; pings are answered by the way. Nothing at the end or after five seconds.
  std::optional<std::string> message();
  void send_frame(unsigned opcode, std::string_view payload);
  std::string host;
  bool answer_pings = true;

 private:
  explicit Line(int socket) : socket_(socket) {}
  bool fill();
  int socket_ = -1;
  std::string buffer_;
};

}  // namespace tallystick::test
