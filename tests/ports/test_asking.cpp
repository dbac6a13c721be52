// Asking, under a clock that moves only when told.
#include <doctest/doctest.h>

#include "drivers/ports/asking.hpp"

using namespace tallystick;
using namespace tallystick::ports;

namespace {
constexpr std::int64_t ms = 1'000'000;
Asking asking(int retries = 1) { return Asking({100 * ms, retries, 8}); }
}  // namespace

TEST_CASE("one request is outstanding, the next waits for its reply") {
  auto it = asking();
  REQUIRE(it.ask("height", true, 0).has_value());
  REQUIRE(it.ask("depth", true, 0).has_value());
  CHECK(it.to_send(0)->gauge == "height");
  it.sent(0);
  CHECK_FALSE(it.to_send(1 * ms).has_value());
  CHECK(it.frame("height", 5 * ms, 6 * ms) == Asking::Verdict::reply);
  CHECK(it.answered().gauge == "height");
  CHECK(it.to_send(6 * ms)->gauge == "depth");
}

TEST_CASE("a person's request goes before the timer's, and is not doubled") {
  auto it = asking();
  REQUIRE(it.ask("a", false, 0).has_value());
  REQUIRE(it.ask("b", false, 0).has_value());
  REQUIRE(it.ask("b", true, 0).has_value());
  CHECK(it.ask("b", true, 0).error().code == "already_asked");
  const auto first = it.to_send(0);
  CHECK(first->gauge == "b");
  CHECK(first->by_person);
}

TEST_CASE("bytes that nobody asked for are no reply, nor is a frame that began before the request") {
  auto it = asking();
  CHECK(it.frame("height", 10 * ms, 10 * ms) == Asking::Verdict::unsolicited);
  REQUIRE(it.ask("height", true, 20 * ms).has_value());
  static_cast<void>(it.to_send(20 * ms));
  CHECK(it.frame("height", 19 * ms, 20 * ms) == Asking::Verdict::unsolicited);  // queued, not yet sent
  it.sent(20 * ms);
  CHECK(it.frame("height", 19 * ms, 21 * ms) == Asking::Verdict::unsolicited);  // its first byte is older
  CHECK(it.frame("depth", 22 * ms, 22 * ms) == Asking::Verdict::unsolicited);   // of another gauge
  CHECK(it.frame("height", 22 * ms, 23 * ms) == Asking::Verdict::reply);
}

TEST_CASE("no reply: asked again as often as the dialect says, then given up") {
  auto it = asking(2);
  REQUIRE(it.ask("height", true, 0).has_value());
  std::int64_t now = 0;
  for (int attempt = 1; attempt <= 3; ++attempt) {
    REQUIRE(it.to_send(now).has_value());
    it.sent(now);
    CHECK(*it.wake_at() == now + 100 * ms);
    CHECK_FALSE(it.tick(now + 99 * ms).has_value());
    now += 100 * ms;
    const auto given_up = it.tick(now);
    CHECK(given_up.has_value() == (attempt == 3));
    if (given_up) CHECK(given_up->tries == 3);
  }
  CHECK_FALSE(it.outstanding());
}

TEST_CASE("a reply that comes after its request was given up is late, and never answers the next request") {
  auto it = asking(0);
  REQUIRE(it.ask("height", true, 0).has_value());
  static_cast<void>(it.to_send(0));
  it.sent(0);
  REQUIRE(it.tick(100 * ms).has_value());
  REQUIRE(it.ask("height", true, 110 * ms).has_value());
  CHECK_FALSE(it.to_send(110 * ms).has_value());  // the line is left alone meanwhile
  CHECK(it.frame("height", 150 * ms, 150 * ms) == Asking::Verdict::late);
  CHECK(*it.wake_at() == 200 * ms);
  REQUIRE(it.to_send(200 * ms).has_value());
  it.sent(200 * ms);
  CHECK(it.frame("height", 210 * ms, 210 * ms) == Asking::Verdict::reply);
}

TEST_CASE("of a repeated request the second reply is late") {
  auto it = asking(1);
  REQUIRE(it.ask("height", true, 0).has_value());
  static_cast<void>(it.to_send(0));
  it.sent(0);
  static_cast<void>(it.tick(100 * ms));
  REQUIRE(it.to_send(100 * ms).has_value());
  it.sent(100 * ms);
  CHECK(it.frame("height", 110 * ms, 110 * ms) ==
        Asking::Verdict::reply);  // the first one's, measured after asking
  CHECK(it.frame("height", 130 * ms, 130 * ms) == Asking::Verdict::late);
}

TEST_CASE("when the port goes away every person who waits is told") {
  auto it = asking();
  REQUIRE(it.ask("a", true, 0).has_value());
  REQUIRE(it.ask("b", true, 0).has_value());
  REQUIRE(it.ask("c", false, 0).has_value());
  static_cast<void>(it.to_send(0));
  it.sent(0);
  CHECK(it.drop_all().size() == 2);
  CHECK_FALSE(it.wake_at().has_value());
}
