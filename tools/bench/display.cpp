#include "tools/bench/display.hpp"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <utility>

#include "tools/bench/commit_probe.hpp"

namespace tallystick::bench {

namespace {

constexpr unsigned ping = 0x9, closing = 0x8;

int connected(const std::string& address) {
  const auto colon = address.rfind(':');
  sockaddr_in to{};
  to.sin_family = AF_INET;
  to.sin_port = htons(static_cast<std::uint16_t>(std::stoi(address.substr(colon + 1))));
  if (inet_pton(AF_INET, address.substr(0, colon).c_str(), &to.sin_addr) != 1)
    give_up("no address: " + address);
  const int out = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  if (out < 0 || connect(out, reinterpret_cast<const sockaddr*>(&to), sizeof to) != 0)
    give_up("cannot connect to " + address);
  const int on = 1;
  setsockopt(out, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
  return out;
}

}  // namespace

Display::Display(const std::string& address, const std::string& bench, const std::string& name)
    : socket_(connected(address)) {
  // The key is the example of RFC 6455, section 1.3: nobody here doubts who answers.
  send_all("GET /api/v1/benches/" + bench + "/live?display=" + name + " HTTP/1.1\r\nHost: " + address +
           "\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
           "Sec-WebSocket-Version: 13\r\n\r\n");
  std::size_t end = 0;
  std::string first;
  for (;;) {
    pollfd wait{socket_, POLLIN, 0};
    if (poll(&wait, 1, 10'000) != 1) give_up("no view of " + bench + " came");
    receive();
    if (end == 0) {
      end = buffer_.find("\r\n\r\n");
      if (end == std::string::npos) {
        end = 0;
        continue;
      }
      if (!buffer_.starts_with("HTTP/1.1 101"))
        give_up("the daemon refused a display: " + buffer_.substr(0, end));
      buffer_.erase(0, end + 4);
    }
    if (next(first)) return;
  }
}

Display::Display(Display&& other) noexcept
    : socket_(std::exchange(other.socket_, -1)), buffer_(std::move(other.buffer_)) {}

Display::~Display() {
  if (socket_ >= 0) close(socket_);
}

void Display::send_all(const std::string& bytes) {
  std::size_t sent = 0;
  while (sent < bytes.size()) {
    const auto count = send(socket_, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
    if (count <= 0) give_up("a display's connection is gone");
    sent += static_cast<std::size_t>(count);
  }
}

void Display::receive() {
  std::array<char, 16 * 1024> piece;
  for (;;) {
    const auto count = recv(socket_, piece.data(), piece.size(), MSG_DONTWAIT);
    if (count > 0) {
      buffer_.append(piece.data(), static_cast<std::size_t>(count));
      if (static_cast<std::size_t>(count) < piece.size()) return;
      continue;
    }
    if (count < 0 && (errno == EAGAIN || errno == EINTR)) return;
    if (count == 0) errno = ECONNRESET;   // an end in order sets none
    give_up("the daemon ended a display's connection");
  }
}

/// RFC 6455, section 5.2, of a server: never masked.
bool Display::frame(std::size_t& head, std::size_t& length, unsigned& kind) const {
  const auto byte = [this](std::size_t at) {
    return static_cast<std::size_t>(static_cast<unsigned char>(buffer_[at]));
  };
  if (buffer_.size() < 2) return false;
  kind = static_cast<unsigned>(byte(0) & 0x0f);
  length = byte(1) & 0x7f;
  head = length == 126 ? 4 : length == 127 ? 10 : 2;
  if (buffer_.size() < head) return false;
  if (head > 2) {
    length = 0;
    for (std::size_t at = 2; at < head; ++at) length = length << 8 | byte(at);
  }
  return buffer_.size() >= head + length;
}

bool Display::next(std::string& message) {
  std::size_t head = 0, length = 0;
  unsigned kind = 0;
  while (frame(head, length, kind)) {
    message.assign(buffer_, head, length);
    buffer_.erase(0, head + length);
    if (kind == closing) give_up("the daemon closed a display");
    if (kind == ping) {
      answer_ping(message);
      continue;
    }
    if (kind <= 2) return true;
  }
  return false;
}

std::size_t Display::drop_all(std::size_t& bytes) {
  std::size_t count = 0;
  std::string message;
  while (next(message)) {
    ++count;
    bytes += message.size();
  }
  return count;
}

void Display::answer_ping(const std::string& payload) {
  // A client's frames are masked; a mask of zeros leaves the payload as it is.
  std::string pong{static_cast<char>(0x8a), static_cast<char>(0x80 | payload.size())};
  send_all(pong + std::string(4, '\0') + payload);
}

}  // namespace tallystick::bench
