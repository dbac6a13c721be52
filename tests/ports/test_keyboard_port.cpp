// The keyboard driver on played devices: pipes of the kernel's own events.
#include <rapidcheck.h>

#include "key_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;
using namespace tallystick::ports::test;
using namespace std::chrono_literals;

namespace {

constexpr std::int64_t ms = 1'000'000;

const std::string typed_line = R"(name = "typed-line"
[frame]
cut_by = "terminator"
terminator = "\r"
longest = 32
[value]
pattern = '''(?P<sign>-?)(?P<value>\d{1,4}\.\d{1,3})'''
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)";

struct KeyRig : Rig {
  std::shared_ptr<PlayedDevices> devices;

  explicit KeyRig(std::shared_ptr<PlayedDevices> played = std::make_shared<PlayedDevices>())
      : Rig(played), devices(std::move(played)) {}
  void open(PortConfig config) {
    const std::string name = config.name;
    REQUIRE(ports.add(std::move(config)).has_value());
    ports.start();
    REQUIRE(run_until_state(name, PortState::open));
    run_for(120ms);  // the pause behind which everything counts: the ports of these tests have 50 ms
  }
  /// What a US keyboard sends for the text, the last event now, or so much later.
  std::vector<decode::KeyEvent> typed(const std::string& digits, bool enter = true,
                                      std::int64_t later_ns = 0) const {
    std::vector<decode::KeyEvent> out;
    const auto add = [&](std::uint16_t code) {
      for (const int value : {1, 0}) {
        out.push_back({1, code, value, 0});
        out.push_back({0, 0, 0, 0});
      }
    };
    for (const char c : digits) {
      static const std::string row = "1234567890";
      const auto at = row.find(c);
      add(static_cast<std::uint16_t>(c == '.' ? 52 : c == '-' ? 12 : 2 + static_cast<int>(at)));
    }
    if (enter) add(28);
    const std::int64_t now = steady_now_ns() + later_ns;
    for (std::size_t n = 0; n < out.size(); ++n)
      out[n].at_ns = now - static_cast<std::int64_t>(out.size() - 1 - n) * ms;
    return out;
  }
};

PortConfig keyboard(std::string name, std::string serial,
                    std::vector<GaugeConfig> gauges = {{"caliper", "", Speaks::pushed}}) {
  PortConfig out;
  out.name = std::move(name);
  out.driver = "keyboard";
  out.keyboard.serial = std::move(serial);
  out.keyboard.gap_time = 50ms;
  out.path = key_text(out.keyboard);
  out.dialect = dialect(typed_line);
  out.gauges = std::move(gauges);
  return out;
}

}  // namespace

TEST_CASE("what a gauge types becomes a reading, with its text, its cause and the times of its keys") {
  KeyRig rig;
  rig.devices->plug("event5", "C-1");
  rig.open(keyboard("p", "C-1"));
  CHECK(rig.status("p").node == "event5");
  const auto events = rig.typed("-12.345");
  rig.devices->type("event5", events);
  REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
  const Reading& reading = rig.sink.readings.front();
  CHECK(reading.gauge == "caliper");
  CHECK(reading.decoded.value_text == "-12.345");
  CHECK(reading.decoded.quantity.count() == -12'345'000'000);
  CHECK(reading.cause == Cause::pushed);
  CHECK(reading.frame.bytes == "-12.345\r");
  CHECK(reading.frame.first.steady_ns / 1000 == events.front().at_ns / 1000);
  CHECK(reading.stamp().steady_ns / 1000 == events[events.size() - 4].at_ns / 1000);  // Enter went down
  const auto recent = rig.ports.recent();
  REQUIRE(recent.size() == 1);
  CHECK(recent[0].frames.at(0).bytes_hex == "2d31322e3334350d");
  CHECK(rig.status("p").bytes == 7);
  CHECK(rig.status("p").last_heard_utc_us > 0);
  CHECK(rig.sink.refusals.empty());
}

TEST_CASE("a text that is no value, and one that breaks off, are refused and named") {
  KeyRig rig;
  rig.devices->plug("event5", "C-1");
  rig.open(keyboard("p", "C-1"));
  rig.devices->type("event5", rig.typed("12345"));
  REQUIRE(rig.run_until([&] { return rig.sink.refusals.size() == 1; }));
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::not_mine);
  rig.devices->type("event5", rig.typed("12.345", false));
  REQUIRE(rig.run_until([&] { return rig.sink.refusals.size() == 2; }));
  CHECK(rig.sink.refusals[1].second.reason == RefusalReason::incomplete);
  CHECK(rig.sink.refusals[1].second.detail == "no Enter or Tab came within 50 ms");
  CHECK(rig.sink.readings.empty());
  rig.devices->type("event5", rig.typed("12.345"));
  CHECK(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
}

TEST_CASE("unplugged in the middle of a value: nothing of it is left, the port comes back by itself") {
  KeyRig rig;
  rig.devices->plug("event5", "C-1");
  rig.open(keyboard("p", "C-1"));
  const std::size_t descriptors = open_descriptors();
  rig.devices->type("event5", rig.typed("12.3", false));
  rig.devices->unplug("event5");
  REQUIRE(rig.run_until(
      [&] { return rig.status("p").state == PortState::absent || rig.status("p").state == PortState::lost; },
      1s));
  CHECK(open_descriptors() == descriptors - 2);
  REQUIRE(rig.sink.refusals.size() == 1);
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::incomplete);
  CHECK(rig.sink.changes.back().code == "port_lost");
  rig.devices->plug("event9", "C-1");
  REQUIRE(rig.run_until_state("p", PortState::open));
  CHECK(rig.status("p").node == "event9");
  rig.run_for(60ms);
  rig.devices->type("event9", rig.typed("45.678"));
  REQUIRE(rig.run_until([&] { return !rig.sink.readings.empty(); }));
  CHECK(rig.sink.readings[0].decoded.value_text == "45.678");
  CHECK(rig.sink.readings.size() == 1);
  CHECK(rig.sink.refusals.size() == 1);
  CHECK(open_descriptors() == descriptors);
}

TEST_CASE("typed while the port opens: refused, for its beginning was not seen") {
  KeyRig rig;
  rig.devices->plug("event5", "C-1");
  REQUIRE(rig.ports.add(keyboard("p", "C-1")).has_value());
  rig.ports.start();
  REQUIRE(rig.run_until_state("p", PortState::open));
  rig.devices->type("event5", rig.typed("2.345"));
  REQUIRE(rig.run_until([&] { return rig.sink.refusals.size() == 1; }));
  CHECK(rig.sink.refusals[0].second.reason == RefusalReason::incomplete);
  rig.devices->type("event5", rig.typed("12.345"));
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.readings[0].decoded.value_text == "12.345");
}

TEST_CASE("two devices that fit are refused both, at the start and while one is open") {
  KeyRig rig;
  auto config = keyboard("p", "");
  config.keyboard.vendor = 0x1d6b;
  config.keyboard.product = 0x0104;
  rig.devices->plug("event5", "C-1");
  SUBCASE("at the start") {
    rig.devices->plug("event6", "C-2");
    REQUIRE(rig.ports.add(config).has_value());
    rig.ports.start();
    REQUIRE(rig.run_until_state("p", PortState::backing_off));
    CHECK(rig.status("p").code == "port_ambiguous");
    CHECK(rig.devices->opened == 0);
  }
  SUBCASE("while one is open") {
    rig.open(config);
    rig.devices->plug("event6", "C-2");
    // What the watch on the folder of devices does.
    auto driver = make_driver(
        config, Surroundings{rig.loop, rig.sink, rig.clock, rig.log, [] { return 0.5; }, 32, rig.devices});
    REQUIRE(driver.has_value());
    rig.ports.stop();
    rig.devices->unplug("event6");
    (*driver)->start();
    REQUIRE((*driver)->status().state == PortState::open);
    rig.devices->plug("event6", "C-2");
    (*driver)->node_changed();
    CHECK((*driver)->status().state == PortState::lost);
    CHECK((*driver)->status().code == "port_ambiguous");
    (*driver)->node_changed();
    CHECK((*driver)->status().state == PortState::backing_off);
    rig.devices->unplug("event6");
    (*driver)->node_changed();
    CHECK((*driver)->status().state == PortState::open);
    (*driver)->stop();
    return;
  }
  rig.devices->unplug("event6");
  REQUIRE(rig.run_until_state("p", PortState::open));
}

TEST_CASE("two typing gauges at the same time never mix, whatever falls between their keys") {
  CHECK(rc::check("two ports", [] {
    KeyRig rig;
    rig.devices->plug("event5", "C-1");
    rig.devices->plug("event6", "C-2");
    for (const auto& [name, serial, gauge] : {std::array{"p", "C-1", "one"}, std::array{"q", "C-2", "two"}}) {
      auto config = keyboard(name, serial, {{gauge, "", Speaks::pushed}});
      config.keyboard.gap_time = 2s;  // by the keys' own times, which run ahead of this machine's load
      RC_ASSERT(rig.ports.add(config).has_value());
    }
    rig.ports.start();
    RC_ASSERT(rig.run_until_state("p", PortState::open) && rig.run_until_state("q", PortState::open));
    const auto value = [] {
      return std::to_string(*rc::gen::inRange(0, 1000)) + "." + std::to_string(*rc::gen::inRange(100, 1000));
    };
    const std::array<std::string, 2> values{value(), value()};
    std::array<std::vector<decode::KeyEvent>, 2> events{rig.typed(values[0], true, 3000 * ms),
                                                        rig.typed(values[1], true, 3000 * ms)};
    std::array<std::size_t, 2> at{0, 0};
    while (at[0] < events[0].size() || at[1] < events[1].size()) {
      const std::size_t turn = at[0] >= events[0].size()   ? 1
                               : at[1] >= events[1].size() ? 0
                                                           : *rc::gen::inRange<std::size_t>(0, 2);
      rig.devices->type(turn == 0 ? "event5" : "event6", {events[turn][at[turn]++]});
      if (*rc::gen::inRange(0, 4) == 0) rig.run_for(1ms);
    }
    RC_ASSERT(rig.run_until([&] { return rig.sink.readings.size() == 2; }));
    for (const auto& reading : rig.sink.readings)
      RC_ASSERT(reading.decoded.value_text == values[reading.gauge == "one" ? 0 : 1]);
    RC_ASSERT(rig.sink.refusals.empty());
  }));
}

TEST_CASE("keys and texts that act: each press once, a repeat within the window not at all") {
  KeyRig rig;
  rig.devices->plug("event5", "C-1");
  auto config = keyboard("pedal", "C-1", {});
  config.keyboard.bench = "bench-1";
  config.keyboard.repeat_window = 300ms;
  config.keyboard.actions = {{"f1", "", KeyDeed::good, "", ""},
                             {"f2", "", KeyDeed::not_good, "", ""},
                             {"", "12-34", KeyDeed::ask, "height-gauge", ""}};
  config.dialect = no_dialect();
  rig.open(config);
  const auto press = [&](std::uint16_t code, std::int64_t at) {
    rig.devices->type(
        "event5", {{1, code, 1, at}, {0, 0, 0, at}, {1, code, 2, at + 10 * ms}, {1, code, 0, at + 20 * ms}});
  };
  const std::int64_t now = steady_now_ns() - 1000 * ms;
  press(59, now);
  press(59, now + 100 * ms);
  press(60, now + 110 * ms);
  press(59, now + 300 * ms);
  REQUIRE(rig.run_until([&] { return rig.sink.deeds.size() == 3; }));
  rig.run_for(20ms);
  REQUIRE(rig.sink.deeds.size() == 3);
  CHECK(rig.sink.deeds[0].does == KeyDeed::good);
  CHECK(rig.sink.deeds[0].bench == "bench-1");
  CHECK(rig.sink.deeds[0].code == "f1");
  CHECK(rig.sink.deeds[0].at.steady_ns / 1000 == now / 1000);
  CHECK(rig.sink.deeds[1].does == KeyDeed::not_good);
  CHECK(rig.sink.deeds[2].at.steady_ns / 1000 == (now + 300 * ms) / 1000);

  rig.devices->type("event5", rig.typed("12-34"));
  REQUIRE(rig.run_until([&] { return rig.sink.deeds.size() == 4; }));
  CHECK(rig.sink.deeds[3].does == KeyDeed::ask);
  CHECK(rig.sink.deeds[3].gauge == "height-gauge");
  CHECK(rig.sink.deeds[3].code == "12-34");
  CHECK(rig.sink.refusals.empty());

  rig.devices->type("event5", rig.typed("12-35"));
  REQUIRE(rig.run_until([&] { return rig.sink.refusals.size() == 1; }));
  CHECK(rig.sink.refusals[0].second.detail == "no action of the port has this text");
  const auto recent = rig.ports.recent();
  REQUIRE(recent.size() == 1);
  std::vector<std::string> causes;
  for (const auto& frame : recent[0].frames)
    causes.push_back(frame.refusal.empty() ? frame.cause : frame.refusal);
  CHECK(causes == std::vector<std::string>{"good", "repeated", "not_good", "good", "ask", "not_mine"});
  CHECK(rig.sink.readings.empty());
}

TEST_CASE("a code card at a gauge's own keyboard acts, and its values count all the same") {
  KeyRig rig;
  rig.devices->plug("event5", "C-1");
  auto config = keyboard("p", "C-1");
  config.keyboard.actions = {{"", "9-9", KeyDeed::again, "", ""}};
  rig.open(config);
  rig.devices->type("event5", rig.typed("9-9"));
  REQUIRE(rig.run_until([&] { return rig.sink.deeds.size() == 1; }));
  rig.devices->type("event5", rig.typed("9.99"));
  REQUIRE(rig.run_until([&] { return rig.sink.readings.size() == 1; }));
  CHECK(rig.sink.deeds.size() == 1);
}

TEST_CASE("a bare event number is warned of: it is no identity") {
  KeyRig rig;
  auto config = keyboard("p", "");
  config.keyboard.path = "/dev/input/event5";
  config.path = config.keyboard.path;
  REQUIRE(rig.ports.add(config).has_value());
  rig.ports.start();
  REQUIRE(rig.status("p").warnings.size() == 1);
  CHECK(rig.status("p").warnings[0].starts_with("/dev/input/event5 is numbered in the order of plugging in"));
  CHECK(rig.status("p").code == "port_absent");
  config.name = "q";
  config.gauges.front().id = "other";
  config.keyboard.path = config.path = "/dev/input/by-path/pci-0000:00:01.0-usb-0:3:1.0-event-kbd";
  REQUIRE(rig.ports.add(config).has_value());
  CHECK(rig.status("q").warnings.empty());
}

TEST_CASE("a keyboard cannot be asked") {
  KeyRig rig;
  rig.devices->plug("event5", "C-1");
  rig.open(keyboard("p", "C-1"));
  const auto asked = rig.ports.ask("caliper");
  REQUIRE(!asked.has_value());
  CHECK(asked.error().code == "not_asked");
}

TEST_CASE("this machine's devices are looked at without harm where there is none") {
  // No input device can be made here; that real ones are found, opened and grabbed is shown in tests/usb.
  const auto devices = evdev_devices();
  KeyboardSettings settings;
  settings.serial = "no-such-serial-number";
  const auto none = devices->open(settings, true, "port p");
  REQUIRE(!none.has_value());
  CHECK(none.error().code == "port_absent");
  CHECK(!devices->doubt(settings, true, "port p"));
}
