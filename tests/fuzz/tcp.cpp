// What a network can do to a port's bytes: cut them anywhere, hold them back, end in the middle, come again.
// Input: one byte chooses the dialect, then records of a byte (what happens) and its argument. The wire is
// one end of a socket pair, so a run takes no connection's time; everything above it is the real StreamPort.
#include <spdlog/logger.h>
#include <spdlog/sinks/null_sink.h>
#include <sys/socket.h>

#include <boost/asio/io_context.hpp>
#include <cstdlib>

#include "all_dialects.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/tcp_port.hpp"

using namespace tallystick;
using namespace tallystick::ports;

namespace {

constexpr std::int64_t millisecond = 1'000'000;

struct HeldClock : Clock {
  Stamp stamp{1'795'600'000'000'000, 1'000'000'000, "0123456789abcdef0123456789abcdef", "trusted"};
  Stamp now() override { return stamp; }
  void pass(std::int64_t nanoseconds) {
    stamp.steady_ns += nanoseconds;
    stamp.utc_us += nanoseconds / 1000;
  }
};

struct Ended : Wire {
  explicit Ended(int descriptor) : descriptor_(descriptor) { node = "fuzz"; }
  ~Ended() override { ::close(descriptor_); }
  int descriptor() const override { return descriptor_; }
  ssize_t write(std::string_view bytes) const override {
    return ::send(descriptor_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
  }

 private:
  int descriptor_;
};

/// A port whose far end this file holds.
class FarPort : public StreamPort {
 public:
  FarPort(PortConfig config, const Surroundings& around) : StreamPort(std::move(config), around) {}
  ~FarPort() override { hang_up(); }

  void try_again() { carry_out(life_.tick(around_.clock.now().steady_ns)); }
  bool reachable = true;
  int far = -1;
  std::string sent;  ///< on the present connection
  std::int64_t all_sent = 0;
  void hang_up() {
    if (far >= 0) ::close(far);
    far = -1;
  }

 private:
  std::optional<Opening> open_wire() override {
    if (!reachable)
      return Opening(fail("port_absent", "it does not answer", "port fuzz", "look at its cable"));
    int pair[2];
    if (::socketpair(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0, pair) != 0) std::abort();
    hang_up();
    far = pair[1];
    sent.clear();
    return Opening(Opened{std::make_unique<Ended>(pair[0]), around_.clock.now()});
  }
  Error ended(const std::string& how) const override {
    return {"port_lost", how, "port fuzz", "look at its cable"};
  }
};

/// Nothing is invented, nothing joined over two connections.
struct Watching : GaugeSink {
  FarPort* port = nullptr;
  std::int64_t framed = 0;
  void look(const Frame& frame) {
    framed += static_cast<std::int64_t>(frame.bytes.size());
    if (port->sent.find(frame.bytes) == std::string::npos) std::abort();
  }
  void reading(Reading reading) override { look(reading.frame); }
  void refusal(const std::string&, const std::string&, const Refusal&, const Frame& frame) override {
    look(frame);
  }
  void port_changed(const PortStatus&) override {}
  void unknown_channel(const UnknownChannel&) override {}
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const auto dialects = fuzz::all_dialects();
  if (size < 2) return 0;
  const auto& dialect = dialects[data[0] % dialects.size()];
  if (dialect->framing.by == CutBy::idle_gap || dialect->modbus) return 0;  // refused for this driver
  boost::asio::io_context loop(1);
  HeldClock clock;
  Watching sink;
  const auto log = std::make_shared<spdlog::logger>("fuzz", std::make_shared<spdlog::sinks::null_sink_st>());
  PortConfig config;
  config.name = "fuzz";
  config.driver = "tcp";
  config.dialect = for_network(dialect);
  config.gauges = {{"g-1", "", dialect->speaks}, {"g-2", "1", dialect->speaks}};
  const auto port =
      std::make_shared<FarPort>(config, Surroundings{loop, sink, clock, log, [] { return 0.5; }});
  sink.port = port.get();
  port->start();
  const auto turn = [&] {
    loop.restart();
    loop.poll();
  };
  turn();
  for (std::size_t i = 1; i + 1 < size; i += 2) {
    const auto what = data[i], argument = data[i + 1];
    if (what < 160) {  // so many of the bytes that follow, in one segment
      const auto length = std::min<std::size_t>(argument % 64, size - i - 2);
      if (port->far >= 0 && length > 0) {
        const std::string bytes(reinterpret_cast<const char*>(data) + i + 2, length);
        port->sent += bytes;
        port->all_sent += static_cast<std::int64_t>(length);
        if (::send(port->far, bytes.data(), bytes.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(length))
          std::abort();
      }
      i += length;
      if (what % 2 == 0)
        turn();  // else it lies there until the next turn: two segments in one read, or the end with it
    } else if (what < 200) {
      clock.pass(std::int64_t{argument} * argument * millisecond / 10);
      turn();
    } else if (what < 220) {
      port->hang_up();
      turn();
    } else if (what < 240) {
      port->reachable = argument % 2 == 0;
    } else {
      static_cast<void>(port->ask(argument % 2 == 0 ? "g-1" : "g-2"));
      turn();
    }
    clock.pass(10 * millisecond);
    if (port->status().state != PortState::open && port->status().state != PortState::silent) {
      clock.pass(6'000 * millisecond);
      port->try_again();
      turn();
    }
  }
  turn();
  const auto status = port->status();
  if (status.bytes > port->all_sent || sink.framed > port->all_sent) std::abort();
  port->stop();
  turn();
  return 0;
}
