#include "tests/serve/client.hpp"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <utility>

namespace tallystick::test {
namespace {

void set_time(int socket, int seconds) {
  const timeval time{seconds, 0};
  ::setsockopt(socket, SOL_SOCKET, SO_RCVTIMEO, &time, sizeof time);
  ::setsockopt(socket, SOL_SOCKET, SO_SNDTIMEO, &time, sizeof time);
}

std::string lower(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char letter) { return static_cast<char>(std::tolower(letter)); });
  return text;
}

}  // namespace

Line Line::to_port(std::uint16_t port, int receive_buffer) {
  Line line(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0));
  set_time(line.socket_, 5);
  if (receive_buffer > 0)
    ::setsockopt(line.socket_, SOL_SOCKET, SO_RCVBUF, &receive_buffer, sizeof receive_buffer);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  sockaddr general{};
  std::memcpy(&general, &address, sizeof address);
  if (::connect(line.socket_, &general, sizeof address) != 0) {
    ::close(line.socket_);
    line.socket_ = -1;
  }
  line.host = "127.0.0.1:" + std::to_string(port);
  return line;
}

Line Line::to_path(const std::string& path) {
  Line line(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
  set_time(line.socket_, 5);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::memcpy(address.sun_path, path.c_str(), std::min(path.size() + 1, sizeof address.sun_path));
  if (::connect(line.socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    ::close(line.socket_);
    line.socket_ = -1;
  }
  line.host = "localhost";
  return line;
}

Line::Line(Line&& other) noexcept
    : host(std::move(other.host)),
      answer_pings(other.answer_pings),
      socket_(std::exchange(other.socket_, -1)),
      buffer_(std::move(other.buffer_)) {}

Line::~Line() {
  if (socket_ >= 0) ::close(socket_);
}

bool Line::send(std::string_view bytes) {
  while (!bytes.empty()) {
    const auto sent = ::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (sent <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(sent));
  }
  return true;
}

bool Line::fill() {
  std::array<char, 16384> piece{};
  const auto got = ::recv(socket_, piece.data(), piece.size(), 0);
  if (got <= 0) return false;
  buffer_.append(piece.data(), static_cast<std::size_t>(got));
  return true;
}

bool Line::closed(int seconds) {
  set_time(socket_, seconds);
  std::array<char, 4096> piece{};
  ssize_t got = 0;
  do got = ::recv(socket_, piece.data(), piece.size(), 0);
  while (got > 0);
  const bool ended = got == 0 || errno == ECONNRESET;
  set_time(socket_, 5);
  return ended;
}

Response Line::receive(bool head) {
  Response response;
  std::size_t end = 0;
  while ((end = buffer_.find("\r\n\r\n")) == std::string::npos)
    if (!fill()) return response;
  const std::string top = buffer_.substr(0, end + 2);
  buffer_.erase(0, end + 4);
  if (top.rfind("HTTP/1.1 ", 0) != 0) return response;
  response.status = std::stoi(top.substr(9, 3));
  for (std::size_t at = top.find("\r\n") + 2; at < top.size();) {
    const auto next = top.find("\r\n", at), colon = top.find(": ", at);
    response.headers[lower(top.substr(at, colon - at))] = top.substr(colon + 2, next - colon - 2);
    at = next + 2;
  }
  if (head || response.status == 101 || response.status == 304) {
    response.whole = true;
    return response;
  }
  if (response.headers.contains("content-length")) {
    const auto length = static_cast<std::size_t>(std::stoul(response.headers["content-length"]));
    while (buffer_.size() < length)
      if (!fill()) return response;
    response.body = buffer_.substr(0, length);
    buffer_.erase(0, length);
    response.whole = true;
    return response;
  }
  for (;;) {  // chunks
    std::size_t line = 0;
    while ((line = buffer_.find("\r\n")) == std::string::npos)
      if (!fill()) return response;
    const auto size = static_cast<std::size_t>(std::stoul(buffer_.substr(0, line), nullptr, 16));
    while (buffer_.size() < line + 2 + size + 2)
      if (!fill()) return response;
    response.body += buffer_.substr(line + 2, size);
    buffer_.erase(0, line + 2 + size + 2);
    if (size == 0) {
      response.whole = true;
      return response;
    }
  }
}

Response Line::get(const std::string& path, const std::string& extra, const std::string& method) {
  send(method + " " + path + " HTTP/1.1\r\nHost: " + host + "\r\n" + extra + "\r\n");
  return receive(method == "HEAD");
}

Response Line::post(const std::string& path, const std::string& body, const std::string& extra) {
  send("POST " + path + " HTTP/1.1\r\nHost: " + host +
       "\r\nContent-Type: application/json\r\nContent-Length: " + std::to_string(body.size()) + "\r\n" +
       extra + "\r\n" + body);
  return receive();
}

int Line::open_live(const std::string& path, const std::string& extra) {
  // Key and answer are the example of RFC 6455, section 1.3.
  send("GET " + path + " HTTP/1.1\r\nHost: " + host +
       "\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
       "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n" +
       extra + "\r\n");
  const auto response = receive();
  if (response.status == 101 && response.headers.at("sec-websocket-accept") != "s3pPLMBiTxaQ9kYGzzhZRbK+xOo=")
    return -1;
  return response.status;
}

std::optional<std::string> Line::message() {
  for (;;) {
    while (buffer_.size() < 2)
      if (!fill()) return std::nullopt;
    const auto byte = [&](std::size_t at) {
      return static_cast<std::size_t>(static_cast<unsigned char>(buffer_[at]));
    };
    const auto opcode = byte(0) & 15U;
    std::size_t length = byte(1) & 127U, start = 2;
    const std::size_t more = length == 126 ? 2 : length == 127 ? 8 : 0;
    while (buffer_.size() < start + more)
      if (!fill()) return std::nullopt;
    if (more > 0) {
      length = 0;
      for (std::size_t at = 0; at < more; ++at) length = length * 256 + byte(start + at);
      start += more;
    }
    while (buffer_.size() < start + length)
      if (!fill()) return std::nullopt;
    const auto payload = buffer_.substr(start, length);
    buffer_.erase(0, start + length);
    if (opcode == 9 && answer_pings) send_frame(10, payload);
    if (opcode == 8) return std::nullopt;
    if (opcode == 1) return payload;
  }
}

void Line::send_frame(unsigned opcode, std::string_view payload) {
  std::string frame{static_cast<char>(0x80U | opcode)};
  if (payload.size() < 126) {
    frame += static_cast<char>(0x80U | payload.size());
  } else {
    frame += static_cast<char>(0x80U | 126U);
    frame += static_cast<char>(payload.size() >> 8U);
    frame += static_cast<char>(payload.size() & 255U);
  }
  frame += std::string(4, '\0');  // a mask of zeros leaves the payload as it is
  frame += payload;
  send(frame);
}

}  // namespace tallystick::test
