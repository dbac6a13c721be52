#include "drivers/ports/tcp_wire.hpp"

#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>

#include <array>
#include <cerrno>
#include <cstring>

namespace tallystick::ports {
namespace {

class TcpWire : public Wire {
 public:
  explicit TcpWire(int descriptor) : descriptor_(descriptor) {}
  ~TcpWire() override { ::close(descriptor_); }
  TcpWire(const TcpWire&) = delete;
  TcpWire& operator=(const TcpWire&) = delete;
  int descriptor() const override { return descriptor_; }
  ssize_t write(std::string_view bytes) const override {
    return ::send(descriptor_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
  }

 private:
  int descriptor_;
};

struct Option {
  const char* name;
  int level, number;
  int wanted;
};

std::array<Option, 6> listed(const TcpOptions& options) {
  return {{{"TCP_NODELAY", IPPROTO_TCP, TCP_NODELAY, options.no_delay},
           {"SO_KEEPALIVE", SOL_SOCKET, SO_KEEPALIVE, options.keep_alive},
           {"TCP_KEEPIDLE", IPPROTO_TCP, TCP_KEEPIDLE, options.idle_s},
           {"TCP_KEEPINTVL", IPPROTO_TCP, TCP_KEEPINTVL, options.interval_s},
           {"TCP_KEEPCNT", IPPROTO_TCP, TCP_KEEPCNT, options.count},
           {"TCP_USER_TIMEOUT", IPPROTO_TCP, TCP_USER_TIMEOUT, options.user_timeout_ms}}};
}

Expected<int> value_of(int descriptor, const Option& option) {
  int found = 0;
  socklen_t size = sizeof found;
  if (::getsockopt(descriptor, option.level, option.number, &found, &size) != 0)
    return fail("port_failed", std::string("reading ") + option.name + " failed: " + std::strerror(errno));
  return found;
}

}  // namespace

TcpOptions options_of(const TcpSettings& settings) {
  TcpOptions out{
      true, true, settings.keep_alive_idle_s, settings.keep_alive_interval_s, settings.keep_alive_count, 0};
  out.user_timeout_ms = 1000 * (out.idle_s + out.interval_s * out.count);
  return out;
}

Expected<TcpOptions> read_tcp_options(int descriptor) {
  std::array<int, 6> found{};
  const auto options = listed({});
  for (std::size_t n = 0; n < options.size(); ++n) {
    const auto value = value_of(descriptor, options[n]);
    if (!value) return tl::unexpected<Error>(value.error());
    found[n] = *value;
  }
  return TcpOptions{found[0] != 0, found[1] != 0, found[2], found[3], found[4], found[5]};
}

Expected<std::unique_ptr<Wire>> make_tcp_wire(int descriptor, const TcpSettings& settings,
                                              const std::string& where) {
  auto wire = std::make_unique<TcpWire>(descriptor);
  const int flags = ::fcntl(descriptor, F_GETFL);
  if (flags < 0 || ::fcntl(descriptor, F_SETFL, flags | O_NONBLOCK) != 0)
    return fail("port_failed", std::string("the socket does not take O_NONBLOCK: ") + std::strerror(errno),
                where, "start the daemon again; look at the kernel's log");
  for (const auto& option : listed(options_of(settings))) {
    const bool done =
        ::setsockopt(descriptor, option.level, option.number, &option.wanted, sizeof option.wanted) == 0;
    const std::string why = done ? std::string() : std::string(": ") + std::strerror(errno);
    const auto found = value_of(descriptor, option);
    // A flag is read back as any number but 0.
    const bool flag = option.wanted == 1 && found && *found != 0;
    if (done && found && (flag || *found == option.wanted)) continue;
    return fail("port_settings",
                std::string(option.name) + ": asked " + std::to_string(option.wanted) +
                    ", the connection has " + (found ? std::to_string(*found) : "none") + why,
                where, "choose other keep_alive values of the port");
  }
  return wire;
}

}  // namespace tallystick::ports
