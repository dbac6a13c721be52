// Gauges over TCP, against loopback servers of the test.
#include "drivers/ports/tcp_port.hpp"

#include <netinet/tcp.h>
#include <sys/resource.h>

#include <thread>

#include "drivers/ports/tcp_wire.hpp"
#include "tcp_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

const std::string asked_line = R"(name = "asked"
[frame]
cut_by = "terminator"
terminator = "\r\n"
longest = 32
[value]
pattern = '''(?P<sign>[+-])(?P<value>\d{3}\.\d{3})'''
[unit]
unit = "mm"
[talk]
speaks = "asked"
[ask]
request = "M\r"
reply_timeout_ms = 200
retries = 1
)";

double cpu_seconds() {
  rusage used{};
  ::getrusage(RUSAGE_SELF, &used);
  const auto of = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_usec) / 1e6;
  };
  return of(used.ru_utime) + of(used.ru_stime);
}

double seconds_since(std::chrono::steady_clock::time_point begin) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

}  // namespace

TEST_CASE("tcp: a press becomes a reading with its raw bytes; split over segments it is the same one") {
  TcpRig rig;
  rig.add(dialect(pushed_line));
  rig.connect();
  CHECK(rig.status("p").node == "127.0.0.1:" + std::to_string(rig.server.port()));
  rig.far.send("+012.345\r");
  REQUIRE(rig.run_until_count(1));
  CHECK(rig.sink.readings[0].gauge == "gauge");
  CHECK(rig.sink.readings[0].decoded.value_text == "12.345");
  CHECK(rig.sink.readings[0].frame.bytes == "+012.345\r");
  CHECK(rig.sink.readings[0].cause == Cause::pushed);
  // A pause inside a frame is the network's own: a lost segment is sent again after 200 ms or more.
  rig.far.send("+02");
  rig.run_for(600ms);
  CHECK(rig.sink.refusals.empty());
  rig.far.send("2.000\r");
  REQUIRE(rig.run_until_count(2));
  CHECK(rig.sink.readings[1].decoded.value_text == "22.000");
  CHECK(rig.status("p").bytes == 18);
}

TEST_CASE("tcp: the far end ends in the middle of a frame: incomplete, and never a number") {
  TcpRig rig;
  rig.add(dialect(pushed_line));
  rig.connect();
  rig.far.send("+011.000\r+022.0");
  SUBCASE("end of file") { rig.far.close(); }
  SUBCASE("reset") {
    REQUIRE(rig.run_until_count(1));
    rig.far.reset();
  }
  REQUIRE(rig.run_until([&] { return rig.status("p").losses == 1; }));
  REQUIRE(rig.sink.readings.size() == 1);
  CHECK(rig.sink.readings[0].decoded.value_text == "11.000");
  REQUIRE(rig.sink.refusals.size() == 1);
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::incomplete);
  // What comes on the next connection is a new beginning: "00\r" does not end the old frame.
  rig.connect();
  rig.far.send("00\r");
  rig.far.send("+033.000\r");
  REQUIRE(rig.run_until_count(2));
  CHECK(rig.sink.readings[1].decoded.value_text == "33.000");
}

TEST_CASE("tcp: what comes at once with the connection may be the rest of a frame, and is refused") {
  TcpRig rig;
  rig.add(dialect(pushed_line));
  REQUIRE(rig.run_until([&] { return (rig.far = rig.server.accept()).connected(); }));
  rig.far.send("+002.345\r");
  rig.far.send("+022.000\r");
  REQUIRE(rig.run_until_count(1));
  CHECK(rig.sink.readings[0].decoded.value_text == "22.000");
  REQUIRE(rig.sink.refusals.size() == 1);
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::incomplete);
}

TEST_CASE("tcp: the options are what was asked for, as the kernel holds them") {
  // A socket of our own, connected by hand: the wire takes it over.
  Server server;
  const int descriptor = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  const sockaddr_in address = loopback(server.port());
  REQUIRE(::connect(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
  TcpSettings settings;
  settings.keep_alive_idle_s = 7;
  settings.keep_alive_interval_s = 2;
  settings.keep_alive_count = 4;
  {
    const auto wire = make_tcp_wire(descriptor, settings, "port p");
    REQUIRE(wire.has_value());
    int found = 0;
    socklen_t size = sizeof found;
    const auto read = [&](int level, int option) {
      REQUIRE(::getsockopt(descriptor, level, option, &found, &size) == 0);
      return found;
    };
    CHECK(read(IPPROTO_TCP, TCP_NODELAY) != 0);
    CHECK(read(SOL_SOCKET, SO_KEEPALIVE) != 0);
    CHECK(read(IPPROTO_TCP, TCP_KEEPIDLE) == 7);
    CHECK(read(IPPROTO_TCP, TCP_KEEPINTVL) == 2);
    CHECK(read(IPPROTO_TCP, TCP_KEEPCNT) == 4);
    CHECK(read(IPPROTO_TCP, TCP_USER_TIMEOUT) == 15000);  // 7 + 2 x 4 s
    CHECK((::fcntl(descriptor, F_GETFL) & O_NONBLOCK) != 0);
    CHECK(read_tcp_options(descriptor) == options_of(settings));
  }
  CHECK(::fcntl(descriptor, F_GETFD) == -1);  // the wire has closed it
}

TEST_CASE("tcp: an option that the kernel does not take is told with both values") {
  Server server;
  const int descriptor = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  TcpSettings settings;
  settings.keep_alive_idle_s = 40'000;  // Linux takes 32767 s at most (include/net/tcp.h, MAX_TCP_KEEPIDLE)
  const auto wire = make_tcp_wire(descriptor, settings, "port p");
  REQUIRE_FALSE(wire.has_value());
  CHECK(wire.error().code == "port_settings");
  CHECK(wire.error().what.find("TCP_KEEPIDLE: asked 40000, the connection has 7200") == 0);
}

TEST_CASE("tcp: options of a port's own connection, read from its descriptor") {
  TcpRig rig;
  TcpSettings settings;
  settings.keep_alive_idle_s = 33;
  rig.add(dialect(pushed_line), Speaks::pushed, settings);
  rig.connect();
  // The one descriptor of this process whose far end is the server's.
  std::size_t found = 0;
  for (int descriptor = 3; descriptor < 1024; ++descriptor) {
    sockaddr_in peer{};
    socklen_t size = sizeof peer;
    if (::getpeername(descriptor, reinterpret_cast<sockaddr*>(&peer), &size) != 0) continue;
    if (peer.sin_family != AF_INET || ntohs(peer.sin_port) != rig.server.port()) continue;
    ++found;
    const auto options = read_tcp_options(descriptor);
    REQUIRE(options.has_value());
    CHECK(options->no_delay);
    CHECK(options->keep_alive);
    CHECK(options->idle_s == 33);
    CHECK(options->user_timeout_ms == 48'000);
  }
  CHECK(found == 1);
}

TEST_CASE("tcp: a far end that is gone without a word is found by the keep-alive; silence alone is no loss") {
  TcpSettings settings;
  settings.keep_alive_idle_s = 1;
  settings.keep_alive_interval_s = 1;
  settings.keep_alive_count = 1;
  TcpRig rig, quiet;
  rig.add(dialect(pushed_line), Speaks::pushed, settings);
  quiet.add(dialect(pushed_line), Speaks::pushed, settings);
  rig.connect();
  quiet.connect();
  rig.far.pull_the_cable();
  const auto begin = std::chrono::steady_clock::now();
  while (rig.status("p").losses == 0 && seconds_since(begin) < 10) {
    rig.run_for(20ms);
    quiet.run_for(20ms);
  }
  CHECK(rig.status("p").losses == 1);
  CHECK(seconds_since(begin) > 0.8);
  CHECK(seconds_since(begin) < 5);
  CHECK(rig.status("p").code == "port_lost");
  CHECK(rig.sink.changes.back().why.find("timed out") != std::string::npos);
  // The other was as silent, for longer than its keep-alive takes.
  CHECK(quiet.state("p") == PortState::open);
  CHECK(quiet.status("p").losses == 0);
  quiet.far.send("+001.000\r");
  CHECK(quiet.run_until_count(1));
}

TEST_CASE("tcp: a request that nobody acknowledges ends the connection by the user time-out") {
  TcpSettings settings;
  settings.keep_alive_idle_s = 1;
  settings.keep_alive_interval_s = 1;
  settings.keep_alive_count = 1;
  TcpRig rig;
  rig.add(dialect(asked_line), Speaks::asked, settings);
  rig.connect();
  rig.far.pull_the_cable();
  REQUIRE(rig.ports.ask("gauge").has_value());
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  CHECK(rig.sink.unanswered[0].code == "no_reply");
  REQUIRE(rig.run_until([&] { return rig.status("p").losses == 1; }, 10s));
  CHECK(rig.sink.readings.empty());
}

TEST_CASE("tcp: asked and answered; the connection that ends meanwhile is told to whoever asked") {
  TcpRig rig;
  rig.add(dialect(asked_line), Speaks::asked);
  rig.connect();
  REQUIRE(rig.ports.ask("gauge").has_value());
  REQUIRE(rig.run_until([&] { return rig.far.received() == "M\r"; }));
  rig.far.send("+030.012\r\n");
  REQUIRE(rig.run_until_count(1));
  CHECK(rig.sink.readings[0].cause == Cause::asked);
  REQUIRE(rig.ports.ask("gauge").has_value());
  SUBCASE("end of file") { rig.far.close(); }
  SUBCASE("reset: writing to it raises no signal") { rig.far.reset(); }
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  CHECK(rig.sink.unanswered[0].code == "port_lost");
  CHECK(rig.ports.ask("gauge").error().code == "port_not_open");
}

TEST_CASE("tcp: the server goes and comes: one line of log each, back within its back-off, nothing leaks") {
  TcpRig rig;
  rig.add(dialect(pushed_line));
  rig.connect();
  const std::size_t descriptors = open_descriptors();
  rig.server.close();
  rig.far.close();
  REQUIRE(rig.run_until([&] { return rig.status("p").attempts >= 3; }));
  CHECK(rig.state("p") == PortState::backing_off);
  CHECK(rig.status("p").code == "port_refused");
  CHECK(rig.status("p").why.find("another one has it") != std::string::npos);
  CHECK_FALSE(rig.status("p").hint.empty());
  const double used = cpu_seconds();
  rig.run_for(1s);
  CHECK(cpu_seconds() - used < 0.02);
  rig.server.open();
  rig.connect(6s);
  CHECK(open_descriptors() == descriptors);
  CHECK(occurrences(rig.lines.str(), "is lost") == 1);
  CHECK(occurrences(rig.lines.str(), "is back after") == 1);
  rig.far.send("+001.000\r");
  CHECK(rig.run_until_count(1));
}

TEST_CASE("tcp: connected and cut off ten times: no descriptor leaks, every press between is taken") {
  TcpRig rig;
  rig.add(dialect(pushed_line));
  rig.connect();
  const std::size_t descriptors = open_descriptors();
  for (std::size_t n = 1; n <= 10; ++n) {
    rig.far.send("+001.000\r");
    REQUIRE(rig.run_until_count(n));
    n % 2 == 0 ? rig.far.close() : rig.far.reset();
    REQUIRE(rig.run_until([&] { return (rig.far = rig.server.accept()).connected(); }));
    REQUIRE(rig.run_until_state("p", PortState::open));
    rig.run_for(60ms);  // with the probation of 200 ms more than the gap after connecting
  }
  CHECK(open_descriptors() == descriptors);
  CHECK(rig.status("p").losses == 10);
  CHECK(rig.sink.readings.size() == 10);
  CHECK(rig.sink.refusals.empty());
}

TEST_CASE("tcp: a server that takes a second program and ends it at once: no port that comes and goes") {
  TcpRig rig;
  rig.add(dialect(pushed_line));
  const auto refuse = [&] {
    if (Far second = rig.server.accept(); second.connected()) second.close();
    return rig.status("p").attempts >= 3;
  };
  REQUIRE(rig.run_until(refuse));
  CHECK(rig.state("p") == PortState::backing_off);
  CHECK(rig.status("p").code == "port_refused");
  CHECK(rig.status("p").why.find("ended it at once") != std::string::npos);
  CHECK(rig.status("p").losses == 0);
  CHECK(occurrences(rig.lines.str(), "cannot be opened") == 1);
  CHECK(occurrences(rig.lines.str(), "is open") == 0);
  for (const auto& change : rig.sink.changes) CHECK(change.state != PortState::open);
  // The other program lets go.
  rig.connect();
  CHECK(occurrences(rig.lines.str(), "is back after") == 1);
}

TEST_CASE("tcp: a host that says nothing: the attempt ends by its time-out, and meanwhile the loop runs") {
  // A full queue of connections drops further calls (listen(2)): as silent as an address without a host.
  const int listening = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(0);
  REQUIRE(::bind(listening, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
  REQUIRE(::listen(listening, 0) == 0);
  socklen_t size = sizeof address;
  ::getsockname(listening, reinterpret_cast<sockaddr*>(&address), &size);
  std::vector<Far> crowd;
  for (int n = 0; n < 4; ++n) {
    crowd.emplace_back(::socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
    ::connect(crowd.back().descriptor(), reinterpret_cast<const sockaddr*>(&address), sizeof address);
  }
  Rig rig;
  Pty pty;
  auto config = tcp_port("p", ntohs(address.sin_port), dialect(pushed_line), {{"far", "", Speaks::pushed}});
  config.tcp.connect_timeout = 300ms;
  REQUIRE(rig.ports.add(std::move(config)).has_value());
  REQUIRE(rig.ports.add(port("near", pty.path(), dialect(pushed_line), {{"near", "", Speaks::pushed}}))
              .has_value());
  rig.ports.start();
  const auto begin = std::chrono::steady_clock::now();
  REQUIRE(rig.run_until_state("near", PortState::open));
  CHECK(seconds_since(begin) < 0.2);
  CHECK(rig.state("p") == PortState::opening);
  REQUIRE(rig.run_until_state("p", PortState::absent));
  CHECK(rig.status("p").code == "port_absent");
  CHECK(rig.status("p").why.find("does not answer") != std::string::npos);
  CHECK(seconds_since(begin) < 1);
  // While it is tried again, what was found stays shown.
  for (int n = 0; n < 40; ++n) {
    rig.run_for(20ms);
    CHECK(rig.state("p") == PortState::absent);
  }
  // Stopping in the middle of an attempt does not wait for it.
  const auto stop = std::chrono::steady_clock::now();
  rig.ports.stop();
  CHECK(seconds_since(stop) < 0.1);
  ::close(listening);
}

TEST_CASE("tcp: a name is looked up; a name that nobody has is told as such") {
  TcpRig rig;
  SUBCASE("localhost") {
    rig.add(dialect(pushed_line), Speaks::pushed, {}, "localhost");
    rig.connect();
    rig.far.send("+001.000\r");
    CHECK(rig.run_until_count(1));
  }
  SUBCASE("RFC 6761, 6.4: .invalid never resolves") {
    rig.add(dialect(pushed_line), Speaks::pushed, {}, "no-gauge.invalid");
    REQUIRE(rig.run_until_state("p", PortState::absent));
    CHECK(rig.status("p").code == "port_absent");
    CHECK(rig.status("p").why.find("no-gauge.invalid") != std::string::npos);
  }
}

TEST_CASE("tcp: a name service that hangs holds up neither the loop nor the end") {
  Rig rig;
  TcpSettings settings;
  settings.host = "slow";
  settings.port = 1;
  settings.connect_timeout = 200ms;
  auto config = tcp_port("p", 1, dialect(pushed_line), {{"gauge", "", Speaks::pushed}}, "slow");
  config.tcp = settings;
  auto asked = std::make_shared<std::atomic<int>>(0);
  const auto port = std::make_shared<TcpPort>(
      config, Surroundings{rig.loop, rig.sink, rig.clock, rig.log, [] { return 0.5; }, 32},
      [asked](const std::string&, int) -> Expected<TcpAddresses> {
        ++*asked;
        std::this_thread::sleep_for(1500ms);
        return fail("port_absent", "late");
      });
  const auto begin = std::chrono::steady_clock::now();
  port->start();
  CHECK(seconds_since(begin) < 0.1);
  REQUIRE(rig.run_until([&] { return port->status().attempts == 2; }));
  CHECK(seconds_since(begin) < 1.4);
  CHECK(port->status().why.find("name service") != std::string::npos);
  CHECK(*asked == 1);  // the question is still out: it is not put twice
  port->stop();
  CHECK(seconds_since(begin) < 1.5);
  std::this_thread::sleep_for(600ms);  // the answer comes now, and goes nowhere
  const auto changes = rig.sink.changes.size();
  rig.run_for(50ms);
  CHECK(rig.sink.changes.size() == changes);
}

TEST_CASE("tcp: a dialect that ends its frames by a pause is refused, serial or not makes the difference") {
  const auto gap = dialect(R"(name = "gap"
[frame]
cut_by = "idle_gap"
longest = 32
[value]
pattern = '''(?P<sign>[+-])(?P<value>\d{3}\.\d{3})'''
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)");
  Rig rig;
  const auto refused = rig.ports.add(tcp_port("p", 4001, gap, {{"gauge", "", Speaks::pushed}}));
  REQUIRE_FALSE(refused.has_value());
  CHECK(refused.error().code == "no_pauses");
  CHECK(rig.ports.add(port("p", "/dev/absent", gap, {{"gauge", "", Speaks::pushed}})).has_value());
}

TEST_CASE("tcp: reloading restarts what differs in address or keep-alive, and nothing else") {
  TcpRig rig;
  Server other;
  const auto how = dialect(pushed_line);
  auto config = tcp_port("p", rig.server.port(), how, {{"gauge", "", Speaks::pushed}});
  REQUIRE(rig.ports.reload({config}).empty());
  rig.ports.start();
  rig.connect();
  REQUIRE(rig.ports.reload({config}).empty());
  rig.far.send("+001.000\r");
  REQUIRE(rig.run_until_count(1));
  CHECK(rig.status("p").losses == 0);
  SUBCASE("another keep-alive") {
    config.tcp.keep_alive_count = 9;
    REQUIRE(rig.ports.reload({config}).empty());
    rig.far = Far();
    rig.connect();
  }
  SUBCASE("another address") {
    REQUIRE(rig.ports.reload({tcp_port("p", other.port(), how, {{"gauge", "", Speaks::pushed}})}).empty());
    REQUIRE(rig.run_until([&] { return (rig.far = other.accept()).connected(); }));
    REQUIRE(rig.run_until_state("p", PortState::open));
    rig.run_for(300ms);
  }
  rig.far.send("+002.000\r");
  CHECK(rig.run_until_count(2));
}
