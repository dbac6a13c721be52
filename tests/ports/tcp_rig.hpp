// The far end of a network gauge: a loopback server on a port that the system chose.
#pragma once

#include <arpa/inet.h>
#include <linux/filter.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>

#include "port_rig.hpp"

namespace tallystick::ports::test {

inline sockaddr_in loopback(int port) {
  sockaddr_in out{};
  out.sin_family = AF_INET;
  out.sin_port = htons(static_cast<std::uint16_t>(port));
  out.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  return out;
}

/// The descriptor of one accepted connection, or of none.
class Far {
 public:
  explicit Far(int descriptor = -1) : descriptor_(descriptor) {}
  Far(Far&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
  Far& operator=(Far&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    return *this;
  }
  ~Far() { close(); }

  int descriptor() const { return descriptor_; }
  bool connected() const { return descriptor_ >= 0; }
  void send(std::string_view bytes) const {
    REQUIRE(::send(descriptor_, bytes.data(), bytes.size(), MSG_NOSIGNAL) ==
            static_cast<ssize_t>(bytes.size()));
  }
  std::string received() const {
    char buffer[65536];
    const ssize_t got = ::recv(descriptor_, buffer, sizeof buffer, MSG_DONTWAIT);
    return got > 0 ? std::string(buffer, static_cast<std::size_t>(got)) : std::string();
  }
  void close() {
    if (descriptor_ >= 0) ::close(descriptor_);
    descriptor_ = -1;
  }
  /// Ends with a reset instead of an end of file.
  void reset() {
    const linger now{1, 0};
    REQUIRE(::setsockopt(descriptor_, SOL_SOCKET, SO_LINGER, &now, sizeof now) == 0);
    close();
  }
  /// From now on every segment to it is thrown away before TCP sees it, as if its cable had been pulled
  /// (socket(7), SO_ATTACH_FILTER; a filter that keeps 0 bytes).
  void pull_the_cable() const {
    sock_filter nothing{BPF_RET | BPF_K, 0, 0, 0};
    const sock_fprog program{1, &nothing};
    REQUIRE(::setsockopt(descriptor_, SOL_SOCKET, SO_ATTACH_FILTER, &program, sizeof program) == 0);
  }

 private:
  int descriptor_;
};

class Server {
 public:
  Server() { open(0); }
  ~Server() { close(); }
  Server(const Server&) = delete;

  int port() const { return port_; }
  /// Again on the same port.
  void open() { open(port_); }
  void close() {
    if (listening_ >= 0) ::close(listening_);
    listening_ = -1;
  }
  /// Never blocks.
  Far accept() const {
    pollfd waiting{listening_, POLLIN, 0};
    return ::poll(&waiting, 1, 0) > 0 ? Far(::accept4(listening_, nullptr, nullptr, SOCK_CLOEXEC)) : Far();
  }

 private:
  void open(int port) {
    listening_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    const int yes = 1;
    ::setsockopt(listening_, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    sockaddr_in address = loopback(port);
    REQUIRE(::bind(listening_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
    REQUIRE(::listen(listening_, 8) == 0);
    socklen_t size = sizeof address;
    REQUIRE(::getsockname(listening_, reinterpret_cast<sockaddr*>(&address), &size) == 0);
    port_ = ntohs(address.sin_port);
  }
  int listening_ = -1, port_ = 0;
};

inline PortConfig tcp_port(std::string name, int number, std::shared_ptr<const Dialect> how,
                           std::vector<GaugeConfig> gauges, const std::string& host = "127.0.0.1") {
  PortConfig out{std::move(name), host + ":" + std::to_string(number), std::move(how), std::move(gauges),
                 "tcp"};
  out.tcp.host = host;
  out.tcp.port = number;
  return out;
}

/// One gauge behind one server.
struct TcpRig : Rig {
  Server server;
  Far far;

  void add(std::shared_ptr<const Dialect> how, Speaks speaks = Speaks::pushed, TcpSettings settings = {},
           const std::string& host = "127.0.0.1") {
    auto config = tcp_port("p", server.port(), std::move(how), {{"gauge", "", speaks}}, host);
    settings.host = host;
    settings.port = server.port();
    config.tcp = settings;
    REQUIRE(ports.add(std::move(config)).has_value());
    ports.start();
  }
  /// The server takes the call, and the port is open; then the gap after which the first press counts.
  void connect(std::chrono::milliseconds patience = std::chrono::seconds(5)) {
    REQUIRE(run_until([&] { return far.connected() || (far = server.accept(), far.connected()); }, patience));
    REQUIRE(run_until_state("p", PortState::open));
    run_for(std::chrono::milliseconds(300));
  }
  bool run_until_count(std::size_t readings) {
    return run_until([&] { return sink.readings.size() >= readings; });
  }
};

}  // namespace tallystick::ports::test
