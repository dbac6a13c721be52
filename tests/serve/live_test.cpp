// The WebSocket of a bench: snapshot, changes, what the desk is told about its displays.
#include <doctest/doctest.h>

#include <fstream>
#ifdef __SANITIZE_ADDRESS__
extern "C" std::size_t __sanitizer_get_current_allocated_bytes();  // gcc brings no header for it
#endif

#include "daemon/serve/bench_feed.hpp"
#include "tests/serve/client.hpp"
#include "tests/serve/fake_desk.hpp"

using namespace tallystick;
using test::House;
using test::Line;
namespace json = boost::json;

namespace {

json::object next(Line& line) {
  for (;;) {
    const auto text = line.message();
    REQUIRE(text);
    auto object = json::parse(*text).as_object();
    if (object.at("type").as_string() != "alive") return object;
  }
}

}  // namespace

TEST_CASE("serve: a viewer lacks exactly what changed since its mark") {
  serve::BenchFeed feed;
  CHECK_FALSE(feed.message_after(0));
  CHECK(feed.update(json::parse(R"({"sequence":4,"a":1,"b":{"c":"x\"y"}})")));
  const auto whole = feed.message_after(0);
  REQUIRE(whole);
  CHECK(json::parse(*whole->text) ==
        json::parse(R"({"type":"snapshot","sequence":4,"view":{"a":1,"b":{"c":"x\"y"},"sequence":4}})"));
  CHECK_FALSE(feed.update(json::parse(R"({"sequence":4,"a":1,"b":{"c":"x\"y"}})")));
  CHECK_FALSE(feed.message_after(whole->mark));
  feed.update(json::parse(R"({"sequence":5,"a":2,"b":{"c":"x\"y"}})"));
  feed.update(json::parse(R"({"sequence":6,"a":2})"));
  const auto both = feed.message_after(whole->mark);
  REQUIRE(both);
  CHECK(both->sequence == 6);
  CHECK(json::parse(*both->text) ==
        json::parse(R"({"type":"change","sequence":6,"view":{"a":2,"b":null,"sequence":6}})"));
}

TEST_CASE("serve: a snapshot, then the members that changed, and told after each") {
  House house;
  auto line = Line::to_port(house.port());
  REQUIRE(line.open_live("/api/v1/benches/bench-1/live?display=d1") == 101);
  const auto snapshot = next(line);
  CHECK(snapshot.at("type").as_string() == "snapshot");
  CHECK(snapshot.at("view").at("state").as_string() == "idle");
  CHECK(house.logged("told bench-1 d1 1"));
  CHECK(house.log().front() == "came bench-1 d1");
  house.on_io([&] { house.desk.set("bench-1", {{"state", "step"}}); });
  const auto change = next(line);
  CHECK(change.at("type").as_string() == "change");
  CHECK(change.at("sequence").to_number<int>() == 2);
  CHECK(json::serialize(change.at("view")) == R"({"sequence":2,"state":"step"})");
  CHECK(house.logged("told bench-1 d1 2"));
  house.on_io([&] { CHECK(house.desk.last_told.steady_ns == 42); });
}

TEST_CASE("serve: one who only watches is no display") {
  House house;
  auto line = Line::to_port(house.port());
  REQUIRE(line.open_live("/api/v1/benches/bench-1/live") == 101);
  next(line);
  house.on_io([&] { house.desk.set("bench-1", {{"state", "step"}}); });
  next(line);
  CHECK(house.log().empty());
}

TEST_CASE("serve: a display that comes back in time has not gone") {
  serve::ServeConfig config;
  config.display_grace = std::chrono::milliseconds(300);
  House house(config);
  {
    auto line = Line::to_port(house.port());
    REQUIRE(line.open_live("/api/v1/benches/bench-1/live?display=d1") == 101);
    next(line);
  }
  {
    auto line = Line::to_port(house.port());
    REQUIRE(line.open_live("/api/v1/benches/bench-1/live?display=d1") == 101);
    next(line);
    std::this_thread::sleep_for(std::chrono::milliseconds(500));
    CHECK_FALSE(house.logged("went bench-1 d1", std::chrono::milliseconds(1)));
  }
  CHECK(house.logged("went bench-1 d1"));
  const auto log = house.log();
  CHECK(std::count(log.begin(), log.end(), "came bench-1 d1") == 1);
}

TEST_CASE("serve: no WebSocket where there is no bench, no plain answer where there is a WebSocket") {
  House house;
  CHECK(Line::to_port(house.port()).open_live("/api/v1/benches/bench-9/live") == 404);
  CHECK(Line::to_port(house.port()).get("/api/v1/benches/bench-1/live").status == 426);
}

TEST_CASE("serve: signs of life, for a page cannot see pings") {
  serve::ServeConfig config;
  config.alive_time = std::chrono::milliseconds(50);
  House house(config);
  auto line = Line::to_port(house.port());
  REQUIRE(line.open_live("/api/v1/benches/bench-1/live") == 101);
  next(line);
  CHECK(line.message() == R"({"type":"alive","utc":"2023-11-14T22:13:20.000000Z"})");
  CHECK(line.message());
}

TEST_CASE("serve: a viewer that answers no ping is dropped, one that does stays") {
  serve::ServeConfig config;
  config.silence_time = std::chrono::milliseconds(400);
  config.alive_time = std::chrono::milliseconds(100);
  config.display_grace = std::chrono::milliseconds(1);
  House house(config);
  auto dead = Line::to_port(house.port());
  dead.answer_pings = false;
  REQUIRE(dead.open_live("/api/v1/benches/bench-1/live?display=dead") == 101);
  auto good = Line::to_port(house.port());
  REQUIRE(good.open_live("/api/v1/benches/bench-1/live?display=good") == 101);
  next(good);
  const auto end = std::chrono::steady_clock::now() + std::chrono::milliseconds(1500);
  while (std::chrono::steady_clock::now() < end) REQUIRE(good.message());
  CHECK(house.logged("went bench-1 dead"));
  CHECK_FALSE(house.logged("went bench-1 good", std::chrono::milliseconds(1)));
}

TEST_CASE("serve: what a viewer sends is of no meaning, and too much of it ends it") {
  House house;
  auto line = Line::to_port(house.port());
  REQUIRE(line.open_live("/api/v1/benches/bench-1/live?display=d1") == 101);
  next(line);
  line.send_frame(1, R"({"kind":"act","action":"good"})");
  line.send_frame(1, std::string(5000, 'x'));
  CHECK(line.closed());
  house.on_io([&] { CHECK(house.desk.commands.empty()); });
}

namespace {

/// Memory that the program holds. Under the address sanitizer, which keeps freed memory for a while, what is
/// allocated.
std::size_t bytes_held() {
#ifdef __SANITIZE_ADDRESS__
  return __sanitizer_get_current_allocated_bytes();
#else
  std::ifstream statm("/proc/self/statm");
  std::size_t total = 0, resident = 0;
  statm >> total >> resident;
  return resident * 4096;
#endif
}

}  // namespace

TEST_CASE("serve: a viewer that never reads is dropped, grows no memory and delays nobody") {
  serve::ServeConfig config;
  config.write_time = std::chrono::milliseconds(700);
  config.display_grace = std::chrono::milliseconds(1);
  House house(config);
  auto asleep = Line::to_port(house.port(), 4096);
  REQUIRE(asleep.open_live("/api/v1/benches/bench-1/live?display=asleep") == 101);
  auto awake = Line::to_port(house.port());
  REQUIRE(awake.open_live("/api/v1/benches/bench-1/live?display=awake") == 101);
  next(awake);
  house.on_io([&] { house.desk.notes_told = false; });
  std::size_t before = 0;
  std::uint64_t sent = 0;
  const std::string filler(20'000, 'x');
  const auto end = std::chrono::steady_clock::now() + std::chrono::milliseconds(2500);
  while (std::chrono::steady_clock::now() < end) {
    const auto wanted = house.on_io([&] {
      house.desk.set("bench-1", {{"filler", filler + std::to_string(sent)}});
      return house.desk.sequence;
    });
    const auto asked = std::chrono::steady_clock::now();
    while (next(awake).at("sequence").to_number<std::uint64_t>() != wanted) {
    }
    CHECK(std::chrono::steady_clock::now() - asked < std::chrono::milliseconds(250));
    if (++sent == 100) before = bytes_held();
  }
  REQUIRE(sent > 300);  // 6 MB and more, of which the sleeper took none
  CHECK(bytes_held() < before + 2 * 1024 * 1024);
  CHECK(house.logged("went bench-1 asleep"));
  house.on_io([&] { CHECK(house.server->connections() == 1); });
}

TEST_CASE("serve: a viewer that was away for a moment gets the newest state, not the ones between") {
  House house;
  auto line = Line::to_port(house.port());
  REQUIRE(line.open_live("/api/v1/benches/bench-1/live?display=d1") == 101);
  next(line);
  house.on_io([&] {
    for (int count = 0; count < 1000; ++count) house.desk.set("bench-1", {{"count", count}});
  });
  const auto change = next(line);
  CHECK(change.at("view").at("count").to_number<int>() == 999);
  CHECK(house.logged("told bench-1 d1 1001"));
  const auto log = house.log();
  CHECK(std::count_if(log.begin(), log.end(),
                      [](const std::string& entry) { return entry.rfind("told", 0) == 0; }) == 2);
}
