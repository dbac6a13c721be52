// Many ports: faults of the list, adding, removing and reloading while the others run.
#include "port_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

TEST_CASE("names, paths, gauges and channels that stand twice are told all at once") {
  const auto how = dialect(pushed_line);
  const auto faults = faults_of({
      port("a", "/dev/x", how, {{"one", "", Speaks::pushed}}),
      port("a", "/dev/x", how, {{"one", "", Speaks::pushed}}),
      port("b", "/dev/y", how, {{"two", "1", Speaks::pushed}, {"three", "1", Speaks::pushed}}),
  });
  std::vector<std::string> codes;
  for (const auto& fault : faults) codes.push_back(fault.code);
  CHECK(codes == std::vector<std::string>{"port_twice", "port_twice", "gauge_twice", "gauge_twice"});
}

TEST_CASE("an unknown driver is refused with those that exist") {
  Rig rig;
  auto config = port("a", "/dev/x", dialect(pushed_line), {});
  config.driver = "telepathy";
  const auto done = rig.ports.add(config);
  REQUIRE_FALSE(done.has_value());
  CHECK(done.error().code == "unknown_driver");
  CHECK(done.error().hint.find("serial") != std::string::npos);
}

TEST_CASE("a port may be added and removed while others run") {
  Pty a, b;
  Rig rig;
  const auto how = dialect(pushed_line);
  REQUIRE(rig.ports.add(port("a", a.path(), how, {{"one", "", Speaks::pushed}})).has_value());
  rig.ports.start();
  REQUIRE(rig.ports.add(port("b", b.path(), how, {{"two", "", Speaks::pushed}})).has_value());
  REQUIRE(rig.run_until_state("b", PortState::open));
  REQUIRE(rig.run_until_state("a", PortState::open));
  rig.run_past_opening_gap();
  const auto held = open_descriptors();
  REQUIRE(rig.ports.remove("b").has_value());
  CHECK(open_descriptors() == held - 1);
  CHECK(rig.ports.remove("b").error().code == "unknown_port");
  a.send("+001.000\r");
  CHECK(rig.run_until([&] { return rig.sink.count("one") == 1; }));
  CHECK(rig.ports.port_of("one") == "a");
  CHECK(rig.ports.port_of("two").empty());
}

TEST_CASE("reloading under traffic: what did not change loses no frame, and nothing leaks") {
  Pty a, b;
  Rig rig;
  const auto how = dialect(pushed_line);
  const auto configs = [&](const char* gauge_of_b) {
    return std::vector<PortConfig>{port("a", a.path(), how, {{"one", "", Speaks::pushed}}),
                                   port("b", b.path(), how, {{gauge_of_b, "", Speaks::pushed}})};
  };
  REQUIRE(rig.ports.reload(configs("two")).empty());
  rig.ports.start();
  REQUIRE(rig.run_until_state("b", PortState::open));
  rig.run_past_opening_gap();
  const auto held = open_descriptors();
  for (int n = 0; n < 200; ++n) {
    a.send("+001.000\r");
    REQUIRE(rig.ports.reload(configs(n % 2 == 0 ? "three" : "two")).empty());
    rig.loop.restart();
    rig.loop.poll();
  }
  REQUIRE(rig.run_until([&] { return rig.sink.count("one") == 200; }));
  CHECK(rig.sink.refusals.empty());
  REQUIRE(rig.run_until_state("b", PortState::open));
  CHECK(open_descriptors() == held);
}

TEST_CASE("a reload with a fault leaves everything as it was") {
  Pty a;
  Rig rig;
  const auto how = dialect(pushed_line);
  REQUIRE(rig.ports.add(port("a", a.path(), how, {{"one", "", Speaks::pushed}})).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("a", PortState::open));
  CHECK_FALSE(rig.ports.reload({port("a", a.path(), how, {}), port("a", "/dev/z", how, {})}).empty());
  rig.run_past_opening_gap();
  a.send("+001.000\r");
  CHECK(rig.run_until([&] { return rig.sink.count("one") == 1; }));
}

TEST_CASE("a start with every port missing is a start; each comes when it is plugged in") {
  Folder folder;
  Rig rig;
  const auto how = dialect(pushed_line);
  for (int n = 0; n < 8; ++n) {
    const std::string name = "p" + std::to_string(n);
    REQUIRE(rig.ports
                .add(port(name, folder / ("not/there/" + name), how, {{"gauge-" + name, "", Speaks::pushed}}))
                .has_value());
  }
  const auto began = std::chrono::steady_clock::now();
  rig.ports.start();
  CHECK(std::chrono::steady_clock::now() - began < 1s);
  for (const auto& status : rig.ports.status()) CHECK(status.state == PortState::absent);
  // The folders on the way appear later, as /dev/serial/by-id does with the first adapter.
  Pty pty;
  std::filesystem::create_directories(folder / "not/there");
  std::filesystem::create_symlink(pty.path(), folder / "not/there/p3");
  CHECK(rig.run_until_state("p3", PortState::open));
}
