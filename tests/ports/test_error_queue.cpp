// An instrument's error queue: read, emptied, told; and on a line whose other end the test plays.
#include "drivers/ports/error_queue.hpp"
#include "port_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

constexpr std::int64_t ms = 1'000'000;

const std::string instrument = R"(name = "instrument"
[frame]
cut_by = "terminator"
terminator = "\n"
[numbers]
[unit]
unit = "mm"
[talk]
speaks = "asked"
[ask]
request = "READ?\n"
reply_timeout_ms = 80
retries = 0
error_query = "SYST:ERR?\n"
)";

struct Asked : Rig {
  Pty pty;
  std::string wrote;
  Asked() {
    REQUIRE(ports.add(port("p", pty.path(), dialect(instrument), {{"probe", "", Speaks::asked}})).has_value());
    ports.start();
    REQUIRE(run_until_state("p", PortState::open));
    run_past_opening_gap();
  }
  bool asked(const std::string& line) {
    const bool came = run_until(
        [&] {
          wrote += pty.sent_to_gauge();
          return wrote.size() >= line.size();
        },
        1s);
    return came && std::exchange(wrote, {}) == line;
  }
};

}  // namespace

TEST_CASE("entries of an error queue are a number and a quoted text") {
  // SCPI-99 volume 2, 21.8: shapes and numbers from memory.
  const auto read = [](std::string_view line) {
    const auto entry = read_queued_error(line);
    return entry ? std::to_string(entry->code) + "|" + entry->text : std::string("none");
  };
  CHECK(read("-113,\"Undefined header\"\r\n") == "-113|Undefined header");
  CHECK(read("+0,\"No error\"\n") == "0|No error");
  CHECK(read("-221, \"Settings \"\"A\"\" conflict;7\"") == "-221|Settings \"A\" conflict;7");
  CHECK(read("25.002") == "none");
  CHECK(read("1,25.002") == "none");
  CHECK(read("-113,\"Undefined") == "none");
  CHECK(read("-113,\"Undefined\"header\"") == "none");
  CHECK(read("") == "none");
  CHECK(read("-113,\"a\x01z\"") == "-113|a?z");
}

TEST_CASE("the queue is asked until it is empty; then all of it is told, once") {
  ErrorQueue queue(80 * ms);
  CHECK_FALSE(queue.active());
  queue.begin({"probe", true}, Error{"no_reply", "it did not answer", {}, {}});
  REQUIRE(queue.wants_to_send());
  queue.sent(10 * ms);
  QueuedError entry;
  CHECK_FALSE(queue.line("-113,\"x\"", 9 * ms, entry));  // it began before the query went out
  CHECK(queue.line("-113,\"x\"", 20 * ms, entry));
  CHECK_FALSE(queue.finished(20 * ms));
  REQUIRE(queue.wants_to_send());
  queue.sent(30 * ms);
  CHECK_FALSE(queue.line("25.002", 35 * ms, entry));
  CHECK(queue.line("0,\"No error\"", 40 * ms, entry));
  const auto told = queue.finished(40 * ms);
  REQUIRE(told.has_value());
  CHECK(told->why.what == "it did not answer; its error queue says: -113 x");
  CHECK_FALSE(queue.finished(41 * ms));
  CHECK_FALSE(queue.active());
}

TEST_CASE("a queue that does not answer, or never gets empty, ends too") {
  ErrorQueue queue(80 * ms);
  queue.begin({"probe", true}, Error{"no_reply", "nothing", {}, {}});
  queue.sent(0);
  CHECK(queue.wake_at() == 80 * ms);
  CHECK_FALSE(queue.finished(79 * ms));
  CHECK(queue.finished(80 * ms)->why.what == "nothing");
  queue.begin({"probe", true}, Error{"no_reply", "nothing", {}, {}});
  std::size_t asked = 0;
  QueuedError entry;
  while (queue.wants_to_send()) {
    queue.sent(static_cast<std::int64_t>(++asked));
    CHECK(queue.line("-350,\"Queue overflow\"", static_cast<std::int64_t>(asked), entry));
  }
  CHECK(asked == ErrorQueue::most);
  CHECK(queue.finished(100).has_value());
}

TEST_CASE("no reply: the queue says why, and the next request goes out only then") {
  Asked rig;
  REQUIRE(rig.ports.ask("probe").has_value());
  REQUIRE(rig.asked("READ?\n"));
  REQUIRE(rig.asked("SYST:ERR?\n"));
  CHECK(rig.ports.ask("probe").has_value());  // waits
  CHECK(rig.sink.unanswered.empty());
  rig.pty.send("-410,\"Query INTERRUPTED\"\n");
  REQUIRE(rig.asked("SYST:ERR?\n"));
  rig.pty.send("0,\"No error\"\n");
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  CHECK(rig.sink.unanswered[0].code == "no_reply");
  CHECK(rig.sink.unanswered[0].what.find("-410 Query INTERRUPTED") != std::string::npos);
  REQUIRE(rig.asked("READ?\n"));
  rig.pty.send("25.002\n");
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.refusals.size() == 1);
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::declined);
}

TEST_CASE("a wrong reply ends the request, and the queue's text stands beside it") {
  Asked rig;
  REQUIRE(rig.ports.ask("probe").has_value());
  REQUIRE(rig.asked("READ?\n"));
  rig.pty.send("9.91E37\n");
  REQUIRE(rig.asked("SYST:ERR?\n"));
  rig.pty.send("-230,\"Data corrupt or stale\"\n");
  REQUIRE(rig.asked("SYST:ERR?\n"));
  rig.pty.send("0,\"No error\"\n");
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  CHECK(rig.sink.unanswered[0].code == "no_value");
  CHECK(rig.sink.unanswered[0].what.find("not a number") != std::string::npos);
  CHECK(rig.sink.unanswered[0].what.find("-230 Data corrupt or stale") != std::string::npos);
  CHECK(rig.sink.readings.empty());
}

TEST_CASE("a value that comes while the queue is asked answers nothing; an instrument that is gone is told so") {
  Asked rig;
  REQUIRE(rig.ports.ask("probe").has_value());
  REQUIRE(rig.asked("READ?\n"));
  REQUIRE(rig.asked("SYST:ERR?\n"));
  rig.pty.send("25.002\n");
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 1; }));
  CHECK(rig.sink.unanswered[0].code == "no_reply");
  CHECK(rig.sink.readings.empty());
  rig.run_for(100ms);
  REQUIRE(rig.ports.ask("probe").has_value());
  REQUIRE(rig.asked("READ?\n"));
  REQUIRE(rig.asked("SYST:ERR?\n"));
  rig.pty.hang_up();
  REQUIRE(rig.run_until([&] { return rig.sink.unanswered.size() == 2; }));
}
