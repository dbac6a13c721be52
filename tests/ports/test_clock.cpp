// The clock at the edge, and whether it may be believed.
#include <doctest/doctest.h>

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <cstdlib>
#include <ctime>

#include "drivers/ports/clock.hpp"

using namespace tallystick;
using namespace tallystick::ports;

namespace {
constexpr std::int64_t second_us = 1'000'000, second_ns = 1'000'000'000;
constexpr std::int64_t start_us = 1'764'057'600 * second_us;  // 2025-11-25T08:00:00Z
ClockTrust::Rules rules(ClockPolicy policy) {
  ClockTrust::Rules out;
  out.policy = policy;
  return out;
}
}  // namespace

TEST_CASE(
    "a clock that is stepped mid-stream: the step is found once, intervals stay right, an own clock is no "
    "longer trusted") {
  for (const std::int64_t step_us : {-3600 * second_us, 86'400 * second_us}) {
    ClockTrust trust(rules(ClockPolicy::own), 0);
    std::int64_t utc = start_us, steady = 5 * second_ns;
    std::vector<Stamp> stamps;
    int steps = 0;
    for (int n = 0; n < 20; ++n) {
      if (n == 10) utc += step_us;
      const auto step = trust.sample(utc, steady, false);
      if (step) {
        ++steps;
        CHECK(step->by_us() == step_us);
        CHECK(n == 10);
      }
      stamps.push_back({utc, steady, "b", trust.state().trusted ? "trusted" : "untrusted"});
      utc += second_us;
      steady += second_ns;
    }
    CHECK(steps == 1);
    for (std::size_t n = 1; n < stamps.size(); ++n) CHECK(elapsed_ns(stamps[n - 1], stamps[n]) == second_ns);
    CHECK(stamps[9].clock == "trusted");
    CHECK(stamps[10].clock == "untrusted");
    CHECK(trust.state().code == "clock_stepped");
    trust.confirmed();
    CHECK(trust.state().trusted);
  }
}

TEST_CASE("a slewed clock is no step") {
  ClockTrust trust(rules(ClockPolicy::own), 0);
  std::int64_t utc = start_us, steady = 0;
  for (int n = 0; n < 1000; ++n) {
    CHECK_FALSE(trust.sample(utc, steady, false).has_value());
    utc += second_us + 500;  // 500 parts in a million
    steady += second_ns;
  }
  CHECK(trust.state().trusted);
}

TEST_CASE("UTC before what the record already holds is not believed, whoever set it") {
  for (const auto policy : {ClockPolicy::own, ClockPolicy::network}) {
    ClockTrust trust(rules(policy), start_us);
    static_cast<void>(trust.sample(start_us - 2 * second_us, 0, true));
    CHECK(trust.state().code == "clock_before_record");
    CHECK_FALSE(trust.state().hint.empty());
    static_cast<void>(trust.sample(start_us, second_ns, true));
    if (policy == ClockPolicy::network) CHECK(trust.state().trusted);
  }
}

TEST_CASE("a network clock that was never synchronised is not believed; one that lost it is, for a while") {
  ClockTrust trust(rules(ClockPolicy::network), 0);
  static_cast<void>(trust.sample(start_us, 0, false));
  CHECK(trust.state().code == "clock_not_synchronised");
  static_cast<void>(trust.sample(start_us + second_us, second_ns, true));
  CHECK(trust.state().trusted);
  static_cast<void>(trust.sample(start_us + 2 * second_us, 2 * second_ns, false));
  CHECK(trust.state().trusted);
  static_cast<void>(trust.sample(start_us + 602 * second_us, 602 * second_ns, false));
  CHECK(trust.state().trusted);
  static_cast<void>(trust.sample(start_us + 603 * second_us, 603 * second_ns, false));
  CHECK_FALSE(trust.state().trusted);
}

TEST_CASE("an own clock is trusted though no time service runs") {
  ClockTrust trust(rules(ClockPolicy::own), 0);
  static_cast<void>(trust.sample(start_us, 0, false));
  CHECK(trust.state().trusted);
}

TEST_CASE(
    "the system's clocks: both move on, the boot id has 32 digits, the zone of the process changes nothing") {
  // Against the C library: time() is UTC seconds wherever TZ points (POSIX.1, time()).
  ::setenv("TZ", "Pacific/Chatham", 1);
  ::tzset();
  SystemClock clock(rules(ClockPolicy::own), 0);
  const Stamp first = clock.now();
  const Stamp second = clock.now();
  CHECK(first.boot.size() == 32);
  CHECK(first.boot.find_first_not_of("0123456789abcdef") == std::string::npos);
  CHECK(second.steady_ns >= first.steady_ns);
  CHECK(std::llabs(first.utc_us / second_us - ::time(nullptr)) <= 1);
  CHECK(utc_text(first.utc_us).back() == 'Z');
  CHECK(second.boot == first.boot);
  ::unsetenv("TZ");
  ::tzset();
}

TEST_CASE("watching for steps costs no wake-up while nothing steps") {
  boost::asio::io_context loop;
  SystemClock clock(rules(ClockPolicy::own), 0);
  clock.watch(loop);
  CHECK(loop.run_for(std::chrono::milliseconds(50)) == 0);
  clock.unwatch();
  loop.restart();
  CHECK(loop.run_for(std::chrono::milliseconds(50)) <= 1);  // the wait ends, and nothing is left
}
