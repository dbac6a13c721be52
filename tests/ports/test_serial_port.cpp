// Ports on real pseudo-terminals: bytes in, loss, return, frames at the edges.
#include <sys/resource.h>

#include <clocale>
#include <cstdlib>
#include <locale>
#include <thread>

#include "port_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

std::vector<GaugeConfig> one(const char* id, Speaks speaks = Speaks::pushed) { return {{id, "", speaks}}; }

double cpu_seconds() {
  rusage used{};
  ::getrusage(RUSAGE_SELF, &used);
  const auto of = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_usec) / 1e6;
  };
  return of(used.ru_utime) + of(used.ru_stime);
}

const std::string streaming = R"(name = "streaming"
[port]
baud = 115200
[frame]
cut_by = "terminator"
terminator = "\n"
longest = 32
[value]
pattern = '''(?P<sign>[+-])(?P<value>\d{3}\.\d{3})'''
[unit]
unit = "mm"
[talk]
speaks = "streams"
silent_after_ms = 200
)";

const std::string channels = R"(name = "channels"
[frame]
cut_by = "terminator"
terminator = "\r"
longest = 32
[value]
pattern = '''(?P<channel>\d\d) (?P<sign>[+-])(?P<value>\d{3}\.\d{3})'''
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)";

}  // namespace

TEST_CASE("a press becomes a reading, with its raw bytes, both clocks and its cause") {
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  const Stamp before = rig.clock.now();
  pty.send("+012.345\r");
  REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
  const Stamp after = rig.clock.now();
  const Reading& reading = rig.sink.readings.front();
  CHECK(reading.gauge == "micrometer");
  CHECK(reading.port == "p");
  CHECK(reading.decoded.value_text == "12.345");
  CHECK(reading.decoded.quantity.count() == 12'345'000'000);
  CHECK(reading.frame.bytes == "+012.345\r");
  CHECK(reading.cause == Cause::pushed);
  CHECK(reading.stamp().steady_ns >= before.steady_ns);
  CHECK(reading.stamp().steady_ns <= after.steady_ns);
  CHECK(reading.stamp().utc_us >= before.utc_us);
  CHECK(reading.stamp().boot == boot_id());

  const auto recent = rig.ports.recent();
  REQUIRE(recent.size() == 1);
  CHECK(recent[0].readings == 1);
  REQUIRE(recent[0].frames.size() == 1);
  CHECK(recent[0].frames[0].value == "12.345");
  CHECK(recent[0].frames[0].bytes_hex == "2b3031322e3334350d");
  CHECK(rig.status("p").last_heard_utc_us > 0);
}

TEST_CASE("a hang-up is seen at once, costs no processor time while it lasts, and leaks no descriptor") {
  Folder folder;
  auto pty = std::make_unique<Pty>();
  const std::string key = folder.link("gauge", pty->path());
  Rig rig;
  REQUIRE(rig.ports.add(port("p", key, dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  const std::size_t descriptors = open_descriptors();
  rig.sink.changes.clear();
  pty->hang_up();
  std::filesystem::remove(key);
  REQUIRE(rig.run_until([&] { return rig.state("p") != PortState::open; }, 500ms));
  CHECK(rig.sink.changes.front().state == PortState::lost);
  CHECK(rig.sink.changes.front().code == "port_lost");
  CHECK(open_descriptors() == descriptors - 2);  // the line's and the master's

  const double used = cpu_seconds();
  rig.run_for(2500ms);
  CHECK(cpu_seconds() - used < 0.025);  // under 1 % of one processor
  CHECK(open_descriptors() == descriptors - 2);
  CHECK(rig.state("p") == PortState::absent);

  Pty next;
  folder.link("gauge", next.path());
  const auto back = std::chrono::steady_clock::now();
  REQUIRE(rig.run_until_state("p", PortState::open));
  CHECK(std::chrono::steady_clock::now() - back < 1s);
  CHECK(open_descriptors() == descriptors);
  CHECK(occurrences(rig.lines.str(), "is lost") == 1);
  CHECK(occurrences(rig.lines.str(), "is back after") == 1);
  CHECK(rig.status("p").losses == 1);
}

TEST_CASE("one port is lost while the other keeps its rate, and is back within a second of its return") {
  Folder folder;
  auto a = std::make_unique<Pty>();
  Pty b;
  const std::string key = folder.link("a", a->path());
  Rig rig;
  REQUIRE(rig.ports.add(port("a", key, dialect(streaming), one("indicator", Speaks::streams))).has_value());
  REQUIRE(rig.ports.add(port("b", b.path(), dialect(streaming), one("probe", Speaks::streams))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("b", PortState::open));
  REQUIRE(rig.run_until_state("a", PortState::open));
  rig.run_past_opening_gap();

  const auto feed_b = [&](int frames) {
    for (int n = 0; n < frames; ++n) {
      b.send("+001.000\n");
      rig.run_for(2ms);
    }
  };
  feed_b(5);  // known as the stream it is
  const auto before = rig.sink.count("probe");
  feed_b(100);
  CHECK(rig.run_until([&] { return rig.sink.count("probe") - before == 100; }, 100ms));
  a->hang_up();
  std::filesystem::remove(key);
  const auto during = rig.sink.count("probe");
  feed_b(100);
  CHECK(rig.run_until([&] { return rig.sink.count("probe") - during == 100; }, 100ms));
  CHECK(rig.state("a") != PortState::open);
  CHECK(rig.state("b") == PortState::open);

  Pty again;
  folder.link("a", again.path());
  const auto returned = std::chrono::steady_clock::now();
  REQUIRE(rig.run_until_state("a", PortState::open));
  CHECK(std::chrono::steady_clock::now() - returned < 1s);
  const auto indicator = rig.sink.count("indicator");
  rig.run_past_opening_gap();
  for (int n = 0; n < 4; ++n) again.send("-000.002\n");
  CHECK(rig.run_until([&] { return rig.sink.count("indicator") > indicator; }));
}

TEST_CASE("a key that names another line now is followed, unplugged or not") {
  Folder folder;
  Pty first, second;
  const std::string key = folder.link("gauge", first.path());
  Rig rig;
  REQUIRE(rig.ports.add(port("p", key, dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  SUBCASE("the old line is still there") {}
  SUBCASE("the old line hung up first") { first.hang_up(); }
  folder.link("gauge", second.path());
  REQUIRE(rig.run_until([&] { return rig.status("p").node == second.path(); }));
  rig.run_past_opening_gap();
  second.send("+001.500\r");
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.readings[0].decoded.value_text == "1.500");
}

TEST_CASE(
    "a frame whose beginning nobody heard is refused, the next counts; the first press after quiet counts") {
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  SUBCASE("the tail of a running transmission") {
    pty.send("2.345\r+022.000\r");  // within 3.5 character times of opening
    REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
    CHECK(rig.sink.readings.size() == 1);
    CHECK(rig.sink.readings[0].decoded.value_text == "22.000");
    REQUIRE(rig.sink.refusals.size() == 1);
    CHECK(rig.sink.refusals[0].first == "micrometer");
    CHECK(rig.sink.refusals[0].second.reason == RefusalReason::incomplete);
  }
  SUBCASE("a first press after quiet") {
    rig.run_past_opening_gap();
    pty.send("+022.000\r");
    REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
    CHECK(rig.sink.refusals.empty());
  }
}

TEST_CASE(
    "a frame cut short by the unplugging is incomplete, never a number, and joins nothing after the return") {
  Folder folder;
  auto pty = std::make_unique<Pty>();
  const std::string key = folder.link("gauge", pty->path());
  Rig rig;
  REQUIRE(rig.ports.add(port("p", key, dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  pty->send("+012.3");
  REQUIRE(rig.run_until([&] { return rig.status("p").bytes == 6; }));
  pty->hang_up();
  REQUIRE(rig.run_until([&] { return rig.state("p") != PortState::open; }));
  Pty next;
  folder.link("gauge", next.path());
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  next.send("45\r");
  next.send("+007.000\r");
  REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
  CHECK(rig.sink.readings.size() == 1);
  CHECK(rig.sink.readings[0].decoded.value_text == "7.000");
  REQUIRE_FALSE(rig.sink.refusals.empty());
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::incomplete);
}

TEST_CASE("a frame that only a gap would end is not ended by the unplugging") {
  const auto gap_framed = dialect(R"(name = "gap-framed"
[frame]
cut_by = "idle_gap"
idle_gap_ms = 2000
longest = 16
[value]
pattern = '''(?P<sign>[+-])(?P<value>\d+\.\d+)'''
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)");
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), gap_framed, one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_for(2050ms);
  pty.send("+12.34");  // the 5 is still on its way
  REQUIRE(rig.run_until([&] { return rig.status("p").bytes == 6; }));
  pty.hang_up();
  REQUIRE(rig.run_until([&] { return rig.state("p") != PortState::open; }));
  CHECK(rig.sink.readings.empty());
  REQUIRE(rig.sink.refusals.size() == 1);
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::incomplete);
}

TEST_CASE("a stream that falls silent is shown as silent, once, and as live with its next frame") {
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(streaming), one("indicator", Speaks::streams)))
              .has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  for (int n = 0; n < 5; ++n) pty.send("+000.010\n");
  REQUIRE(rig.run_until([&] { return rig.status("p").bytes == 45; }));
  REQUIRE_FALSE(rig.sink.readings.empty());
  CHECK(rig.sink.readings.back().cause == Cause::streamed);
  rig.sink.changes.clear();
  const auto shown = rig.sink.readings.size();
  REQUIRE(rig.run_until_state("p", PortState::silent));
  rig.run_for(300ms);
  CHECK(rig.sink.changes.size() == 1);
  CHECK(rig.sink.readings.size() == shown);  // nothing is repeated as if it were new
  pty.send("+000.011\n");
  REQUIRE(rig.run_until_state("p", PortState::open));
  CHECK(rig.sink.changes.size() == 2);
}

TEST_CASE(
    "every frame is kept raw and in order, a double sending as two: what it means is decided elsewhere") {
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  const auto press = [&](std::size_t number, std::chrono::milliseconds after) {
    std::this_thread::sleep_for(after);
    pty.send("+012.345\r");
    REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == number; }));
  };
  press(1, 0ms);
  press(2, 35ms);
  press(3, 400ms);
  const auto gap_ms = [&](std::size_t n) {
    return elapsed_ns(rig.sink.readings[n - 1].stamp(), rig.sink.readings[n].stamp()) / 1'000'000;
  };
  CHECK(gap_ms(1) >= 35);
  CHECK(gap_ms(2) >= 400);
  for (const auto& reading : rig.sink.readings) CHECK(reading.frame.bytes == "+012.345\r");
}

TEST_CASE("an unknown channel is listed and held, never given to a gauge") {
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports
              .add(port("radio", pty.path(), dialect(channels),
                        {{"micrometer-a", "01", Speaks::pushed}, {"micrometer-b", "02", Speaks::pushed}}))
              .has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("radio", PortState::open));
  rig.run_past_opening_gap();
  pty.send("02 +001.000\r07 +005.000\r01 +002.000\r07 +005.001\r");
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 2; }));
  rig.run_for(20ms);
  CHECK(rig.sink.readings[0].gauge == "micrometer-b");
  CHECK(rig.sink.readings[1].gauge == "micrometer-a");
  REQUIRE(rig.sink.unknown.size() == 1);  // told once, counted on
  CHECK(rig.sink.unknown[0].channel == "07");
  const auto held = rig.ports.unknown_channels();
  REQUIRE(held.size() == 1);
  CHECK(held[0].count == 2);
  CHECK(held[0].last_value == "5.001");
}

TEST_CASE("a locale with a decimal comma changes nothing") {
  // Every way that a locale could come in: the environment, the C library, the global C++ locale.
  ::setenv("LC_ALL", "de_DE.UTF-8", 1);
  if (!std::setlocale(LC_ALL, "")) MESSAGE("de_DE.UTF-8 is not installed: the C library keeps its own");
  struct Comma : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
  };
  const std::locale before = std::locale::global(std::locale(std::locale::classic(), new Comma));
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  pty.send("-012.345\r");
  REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
  CHECK(rig.sink.readings[0].decoded.value_text == "-12.345");
  std::locale::global(before);
  std::setlocale(LC_ALL, "C");
  ::unsetenv("LC_ALL");
}

TEST_CASE("bytes of the warm-up are discarded and counted") {
  Pty pty;
  Rig rig;
  std::string text = pushed_line;
  text.replace(text.find("baud = 9600"), 11, "baud = 9600\nwarm_up_ms = 150");
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(text), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until([&] { return !rig.status("p").node.empty(); }));
  CHECK(rig.state("p") == PortState::opening);
  rig.run_for(20ms);
  pty.send("+099.999\r");
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  pty.send("+001.000\r");
  REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
  CHECK(rig.sink.readings[0].decoded.value_text == "1.000");
  CHECK(rig.status("p").warm_up_bytes == 9);
}

TEST_CASE("the memory of a gauge is bounded") {
  Pty pty;
  Rig rig;
  REQUIRE(rig.ports.add(port("p", pty.path(), dialect(pushed_line), one("micrometer"))).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.run_past_opening_gap();
  for (int n = 0; n < 200; ++n) {
    pty.send(n % 2 == 0 ? "+001.000\r" : "rubbish\r");
    rig.loop.restart();
    rig.loop.poll();
  }
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 100; }));
  const auto recent = rig.ports.recent();
  REQUIRE(recent.size() == 1);
  CHECK(recent[0].frames.size() == 32);
  CHECK(recent[0].readings == 100);
  CHECK(recent[0].refusals.at("not_mine") == 100);
}

TEST_CASE("thirty-two quiet ports: no wake-up") {
  std::vector<Pty> ptys(32);
  Rig rig;
  for (std::size_t n = 0; n < ptys.size(); ++n) {
    const std::string name = "p" + std::to_string(n);
    REQUIRE(
        rig.ports
            .add(port(name, ptys[n].path(), dialect(pushed_line), {{"gauge-" + name, "", Speaks::pushed}}))
            .has_value());
  }
  rig.ports.start();
  REQUIRE(rig.run_until([&] {
    for (const auto& one_status : rig.ports.status()) {
      if (one_status.state != PortState::open) return false;
    }
    return true;
  }));
  const auto handled = [&](std::chrono::milliseconds time) {
    rig.loop.restart();
    return rig.loop.run_for(time);
  };
  for (int n = 0; n < 50 && handled(60ms) > 0; ++n) {  // what the opening left to do, on a busy machine late
  }
  CHECK(handled(300ms) == 0);
}
