// A gauge that is asked, on a pseudo-terminal whose other end the test plays.
#include "port_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

std::string asked(const std::string& more = {}) {
  return R"(name = "asked"
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
reply_timeout_ms = 80
retries = 1
)" + more;
}

struct Asked : Rig {
  Pty pty;
  explicit Asked(const std::string& more = {}) {
    REQUIRE(
        ports.add(port("p", pty.path(), dialect(asked(more)), {{"height", "", Speaks::asked}})).has_value());
    ports.start();
    REQUIRE(run_until_state("p", PortState::open));
    run_past_opening_gap();
  }
  /// Waits for a request, and says whether one came.
  bool requested(std::chrono::milliseconds patience = 1s) {
    return run_until([&] { return pty.sent_to_gauge() == "M\r"; }, patience);
  }
};

}  // namespace

TEST_CASE("asked by a person, answered: a reading with cause asked") {
  Asked rig;
  REQUIRE(rig.ports.ask("height").has_value());
  CHECK(rig.ports.ask("height").error().code == "already_asked");
  REQUIRE(rig.requested());
  rig.pty.send("+030.012\r\n");
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.readings[0].cause == Cause::asked);
  CHECK(rig.ports.ask("height").has_value());
}

TEST_CASE(
    "what an asked gauge says unasked is no reply, also when it lies in the line as the request goes out") {
  Asked rig;
  rig.pty.send("+011.111\r\n");
  REQUIRE(rig.run_until([&] { return rig.status("p").unsolicited == 1; }));
  CHECK(rig.sink.readings.empty());

  rig.pty.send("+022.222\r\n");
  ::usleep(5000);  // in the kernel's buffer, not yet read by the loop
  REQUIRE(rig.ports.ask("height").has_value());
  CHECK(rig.status("p").unsolicited == 2);
  REQUIRE(rig.requested());
  rig.pty.send("+033.333\r\n");
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.readings[0].decoded.value_text == "33.333");
  CHECK(rig.ports.recent()[0].refusals.at("unsolicited") == 2);
}

TEST_CASE("no answer: asked again, then the person is told with the remedy") {
  Asked rig;
  REQUIRE(rig.ports.ask("height").has_value());
  CHECK(rig.requested());
  CHECK(rig.requested());
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  CHECK(rig.sink.unanswered[0].code == "no_reply");
  CHECK_FALSE(rig.sink.unanswered[0].hint.empty());
  CHECK(rig.status("p").unanswered == 1);
}

TEST_CASE("an answer that comes too late is counted and discarded, and does not answer the next request") {
  Asked rig;
  REQUIRE(rig.ports.ask("height").has_value());
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  static_cast<void>(rig.pty.sent_to_gauge());
  REQUIRE(rig.ports.ask("height").has_value());  // the next is asked for at once, and waits
  rig.pty.send("+099.999\r\n");                  // the answer to the one before
  REQUIRE(rig.run_until([&] { return rig.status("p").late_replies == 1; }));
  REQUIRE(rig.requested());
  rig.pty.send("+030.000\r\n");
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.readings[0].decoded.value_text == "30.000");
  CHECK(rig.sink.readings.size() == 1);
}

TEST_CASE("asked by the timer counts as streamed: nobody pressed") {
  Asked rig("every_ms = 100\n");
  for (int n = 0; n < 3; ++n) {
    REQUIRE(rig.requested());
    rig.pty.send("+030.00" + std::to_string(n) + "\r\n");
  }
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 3; }));
  for (const auto& reading : rig.sink.readings) CHECK(reading.cause == Cause::streamed);
}

TEST_CASE("asking what cannot be asked is refused with the reason") {
  Asked rig;
  Pty other;
  REQUIRE(rig.ports.add(port("q", other.path(), dialect(pushed_line), {{"micrometer", "", Speaks::pushed}}))
              .has_value());
  CHECK(rig.ports.ask("micrometer").error().code == "not_asked");
  CHECK(rig.ports.ask("nothing").error().code == "unknown_gauge");
  rig.pty.hang_up();
  REQUIRE(rig.run_until([&] { return rig.state("p") != PortState::open; }));
  CHECK(rig.ports.ask("height").error().code == "port_not_open");
}

TEST_CASE("a gauge that is unplugged while it is asked: the person is told") {
  Asked rig;
  REQUIRE(rig.ports.ask("height").has_value());
  REQUIRE(rig.requested());
  rig.pty.hang_up();
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  CHECK(rig.sink.unanswered[0].code == "port_lost");
}
