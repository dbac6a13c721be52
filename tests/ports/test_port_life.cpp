// The life of a port under a clock that moves only when told.
#include <doctest/doctest.h>

#include <random>

#include "drivers/ports/port_life.hpp"

using namespace tallystick;
using namespace tallystick::ports;

namespace {

constexpr std::int64_t second = 1'000'000'000;
const Error missing{"port_absent", "there is no /dev/x", "port p", "plug it in"};
const Error denied_error{"port_denied", "mode 0600", "port p", "chmod"};
const Error unplugged{"port_lost", "it was unplugged", "port p", ""};

/// Drives a PortLife as the driver does, with a port whose opening fails as long as `fails` says.
struct FakePort {
  PortLife life;
  std::int64_t now = second;
  std::uint64_t fails = 0;
  Error why = missing;
  std::uint64_t opens = 0;
  bool held = false;
  std::vector<std::string> log;
  std::vector<PortState> told;
  std::vector<std::int64_t> delays;
  std::mt19937 random{7};

  explicit FakePort(PortLife::Limits limits = {}) : life("p", limits) {}

  double jitter() { return std::uniform_real_distribution<double>(0, 1)(random); }
  void carry_out(Do todo) {
    for (;;) {
      if (!todo.log.empty()) log.push_back(todo.log);
      if (todo.changed) told.push_back(life.state());
      if (todo.act == Do::Act::open) {
        REQUIRE_FALSE(held);  // never looked for while the old descriptor is held
        ++opens;
        if (fails > 0) {
          --fails;
          todo = life.open_failed(now, why, jitter());
          delays.push_back(*life.wake_at() - now);
        } else {
          held = true;
          todo = life.opened(now);
        }
      } else if (todo.act == Do::Act::close) {
        held = false;
        todo = life.closed(now, jitter());
      } else {
        return;
      }
    }
  }
  /// Lets the clock run to the next wake-up; false if there is none.
  bool step() {
    const auto wake = life.wake_at();
    if (!wake) return false;
    now = *wake;
    carry_out(life.tick(now));
    return true;
  }
};

}  // namespace

TEST_CASE("a lost port is tried for ever, with a capped delay, one line on loss and one on return") {
  FakePort port;
  port.carry_out(port.life.start(port.now));
  REQUIRE(port.life.state() == PortState::open);
  port.carry_out(port.life.heard(port.now));
  port.log.clear();
  port.opens = 0;

  port.now += second;
  port.fails = 1000;
  port.carry_out(port.life.lost(port.now, unplugged));
  CHECK(port.life.state() == PortState::lost);
  while (port.life.state() != PortState::open) REQUIRE(port.step());

  CHECK(port.opens == 1001);
  REQUIRE(port.delays.size() == 1000);
  for (const auto delay : port.delays) {
    CHECK(delay <= 5 * second);
    CHECK(delay >= second / 4 * 3 / 4);
  }
  CHECK(port.delays.back() >= 5 * second * 3 / 4);
  REQUIRE(port.log.size() == 2);
  CHECK(port.log[0].find("is lost") != std::string::npos);
  CHECK(port.log[1].find("is back after 1000 failed attempts") != std::string::npos);
  CHECK(port.life.attempts() == 0);
}

TEST_CASE("the delay doubles from a quarter of a second to five, shortened by at most a quarter") {
  const BackOff back_off;
  const std::int64_t expected[] = {250, 500, 1000, 2000, 4000, 5000, 5000};
  for (std::uint64_t n = 1; n <= 7; ++n) {
    CHECK(back_off.delay_ns(n, 0) == expected[n - 1] * 1'000'000);
    CHECK(back_off.delay_ns(n, 1) == expected[n - 1] * 750'000);
  }
  CHECK(back_off.delay_ns(1'000'000'000, 0) == 5 * second);
  CHECK(back_off.delay_ns(1, 17.0) == 187'500'000);
}

TEST_CASE("the descriptor is closed before the node is looked for again") {
  FakePort port;
  port.carry_out(port.life.start(port.now));
  const Do todo = port.life.lost(port.now, unplugged);
  CHECK(todo.act == Do::Act::close);
  CHECK(port.life.holds());
  CHECK_FALSE(port.life.wake_at().has_value());                     // nothing by time
  CHECK(port.life.node_changed(port.now).act == Do::Act::nothing);  // nothing by news
  port.held = false;
  static_cast<void>(port.life.closed(port.now, 0));
  CHECK(port.life.node_changed(port.now).act == Do::Act::open);
}

TEST_CASE("news of the node end the waiting at once") {
  FakePort port;
  port.fails = 5;
  port.carry_out(port.life.start(port.now));
  CHECK(port.life.state() == PortState::absent);
  port.fails = 0;
  port.now += 1;
  port.carry_out(port.life.node_changed(port.now));
  CHECK(port.life.state() == PortState::open);
}

TEST_CASE("retries of the same finding are neither told nor logged again, another finding is") {
  FakePort port;
  port.fails = 1'000'000;
  port.carry_out(port.life.start(port.now));
  CHECK(port.told == std::vector<PortState>{PortState::opening, PortState::absent});
  const auto since = port.life.since_ns();
  for (int n = 0; n < 50; ++n) port.step();
  CHECK(port.told.size() == 2);
  CHECK(port.log.size() == 1);
  CHECK(port.life.since_ns() == since);
  port.why = denied_error;
  port.step();
  CHECK(port.told.back() == PortState::backing_off);
  CHECK(port.log.size() == 2);
  CHECK(port.life.why()->code == "port_denied");
  for (int n = 0; n < 50; ++n) port.step();
  CHECK(port.log.size() == 2);
}

TEST_CASE("a port that opens and dies at once backs off too; one that was heard starts anew") {
  FakePort port;
  port.carry_out(port.life.start(port.now));
  std::vector<std::int64_t> waits;
  for (int n = 0; n < 6; ++n) {
    port.carry_out(port.life.lost(port.now, unplugged));
    waits.push_back(*port.life.wake_at() - port.now);
    REQUIRE(port.step());
    REQUIRE(port.life.state() == PortState::open);
  }
  CHECK(waits.back() > waits.front() * 8);
  port.carry_out(port.life.heard(port.now));
  port.carry_out(port.life.lost(port.now, unplugged));
  CHECK(*port.life.wake_at() - port.now <= second / 4);
}

TEST_CASE(
    "silence of a stream: live until the limit, silent at it, told once, live again with the first good "
    "frame") {
  PortLife::Limits limits;
  limits.silent_after_ns = 3 * second;
  FakePort port(limits);
  port.carry_out(port.life.start(port.now));
  port.carry_out(port.life.heard(port.now));
  port.told.clear();
  port.log.clear();
  const auto heard = port.now;
  port.now = heard + 3 * second - 1;
  port.carry_out(port.life.tick(port.now));
  CHECK(port.life.state() == PortState::open);
  port.now = heard + 3 * second;
  port.carry_out(port.life.tick(port.now));
  CHECK(port.life.state() == PortState::silent);
  for (int n = 0; n < 10; ++n) {
    port.now += second;
    port.carry_out(port.life.tick(port.now));
  }
  CHECK(port.told == std::vector<PortState>{PortState::silent});
  CHECK(port.log.size() == 1);
  CHECK_FALSE(port.life.why()->hint.empty());
  port.carry_out(port.life.heard(port.now));
  CHECK(port.life.state() == PortState::open);
  CHECK(port.told == std::vector<PortState>{PortState::silent, PortState::open});
  CHECK(port.log.size() == 2);
}

TEST_CASE("silence of a gauge that speaks when pressed means nothing") {
  FakePort port;
  port.carry_out(port.life.start(port.now));
  CHECK_FALSE(port.life.wake_at().has_value());
  port.now += 100'000 * second;
  port.carry_out(port.life.tick(port.now));
  CHECK(port.life.state() == PortState::open);
}

TEST_CASE("open but mute: opened anew where that is asked for, ever later, until it is heard; else only reported") {
  PortLife::Limits limits;
  limits.silent_after_ns = 3 * second;
  limits.reopen_after_ns = 10 * second;
  FakePort port(limits);
  port.carry_out(port.life.start(port.now));
  std::vector<std::int64_t> waits;
  for (int turn = 0; turn < 4; ++turn) {
    while (port.life.state() != PortState::silent) REQUIRE(port.step());
    const auto silent_since = port.now;
    REQUIRE(port.step());
    CHECK(port.life.state() == PortState::lost);
    CHECK(port.life.why()->code == "mute");
    CHECK((port.life.why()->hint.find("does not help") != std::string::npos) == (turn >= 2));
    waits.push_back((port.now - silent_since) / second);
  }
  CHECK(waits == std::vector<std::int64_t>{10, 20, 40, 80});
  while (port.life.state() != PortState::open) REQUIRE(port.step());
  port.carry_out(port.life.heard(port.now));
  while (port.life.state() != PortState::silent) REQUIRE(port.step());
  CHECK(*port.life.wake_at() == port.now + 10 * second);

  limits.reopen_after_ns = 0;
  FakePort reported(limits);
  reported.carry_out(reported.life.start(reported.now));
  while (reported.life.state() != PortState::silent) REQUIRE(reported.step());
  CHECK_FALSE(reported.life.wake_at().has_value());
}

TEST_CASE("a port that warms up is opening until it is warm, and may be lost meanwhile") {
  PortLife::Limits limits;
  limits.warm_up_ns = 2 * second;
  FakePort port(limits);
  port.carry_out(port.life.start(port.now));
  CHECK(port.life.state() == PortState::opening);
  CHECK(port.life.warming_up());
  CHECK(*port.life.wake_at() == port.now + 2 * second);
  port.carry_out(port.life.lost(port.now, unplugged));
  CHECK(port.life.state() == PortState::lost);
  REQUIRE(port.step());
  CHECK(port.life.warming_up());
  REQUIRE(port.step());
  CHECK(port.life.state() == PortState::open);
}
