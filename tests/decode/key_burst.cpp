// Recorded shapes of typing devices, and any text in any layout.
#include "drivers/decode/key_burst.hpp"

#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <array>
#include <iostream>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/key_names.hpp"
#include "typist.hpp"

using namespace tallystick;
using namespace tallystick::decode;
using namespace tallystick::decode::test;

namespace {

constexpr std::int64_t ms = 1'000'000;

KeyBurst::Rules rules(const char* layout = "us") {
  return {*KeyLayout::named(layout), true, true, false, 100 * ms, 256, {}};
}

struct Seen {
  std::vector<Burst> bursts;
  std::vector<KeyPress> presses;
  void add(std::vector<KeyOutcome> outcomes) {
    for (auto& one : outcomes) {
      if (auto* burst = std::get_if<Burst>(&one)) bursts.push_back(std::move(*burst));
      if (auto* press = std::get_if<KeyPress>(&one)) presses.push_back(*press);
    }
  }
};

/// A device that has been open and quiet for long.
Seen fed(KeyBurst& burst, const std::vector<KeyEvent>& events) {
  Seen seen;
  for (const auto& event : events) seen.add(burst.feed(event));
  return seen;
}

KeyEvent down(std::uint16_t code, std::int64_t at) { return {1, code, 1, at}; }
KeyEvent up(std::uint16_t code, std::int64_t at) { return {1, code, 0, at}; }

/// 1 2 . 5 on a US keyboard, keys 5 ms apart, without an end.
std::vector<KeyEvent> twelve_and_a_half(std::int64_t at) {
  std::vector<KeyEvent> out;
  for (const std::uint16_t code : std::array<std::uint16_t, 4>{2, 3, 52, 6}) {
    out.push_back(down(code, at));
    out.push_back(up(code, at + 2 * ms));
    at += 5 * ms;
  }
  return out;
}

}  // namespace

TEST_CASE("a burst ends at Enter, with the times of its first and last key") {
  KeyBurst burst(rules());
  burst.opened(0);
  auto events = twelve_and_a_half(1000 * ms);
  events.push_back(down(28, 1020 * ms));
  const auto seen = fed(burst, events);
  REQUIRE(seen.bursts.size() == 1);
  CHECK(seen.bursts[0].text == "12.5");
  CHECK(seen.bursts[0].end == BurstEnd::enter);
  CHECK(!seen.bursts[0].refusal);
  CHECK(seen.bursts[0].first_ns == 1000 * ms);
  CHECK(seen.bursts[0].last_ns == 1020 * ms);
  CHECK(!burst.wake_at());
}

TEST_CASE("what ends a burst is the configuration's word") {
  auto events = twelve_and_a_half(1000 * ms);
  SUBCASE("Tab") {
    KeyBurst burst(rules());
    burst.opened(0);
    events.push_back(down(15, 1020 * ms));
    const auto seen = fed(burst, events);
    REQUIRE(seen.bursts.size() == 1);
    CHECK(seen.bursts[0].end == BurstEnd::tab);
  }
  SUBCASE("a Tab that ends nothing is a character") {
    auto own = rules();
    own.tab = false;
    KeyBurst burst(own);
    burst.opened(0);
    events.push_back(down(15, 1020 * ms));
    events.push_back(down(28, 1025 * ms));
    const auto seen = fed(burst, events);
    REQUIRE(seen.bursts.size() == 1);
    CHECK(seen.bursts[0].text == "12.5\t");
  }
  SUBCASE("the keypad's Enter") {
    KeyBurst burst(rules());
    burst.opened(0);
    events.push_back(down(96, 1020 * ms));
    CHECK(fed(burst, events).bursts.size() == 1);
  }
  SUBCASE("a pause, where it may") {
    auto own = rules();
    own.enter = own.tab = false;
    own.gap = true;
    KeyBurst burst(own);
    burst.opened(0);
    auto seen = fed(burst, events);
    CHECK(seen.bursts.empty());
    REQUIRE(burst.wake_at() == 1117 * ms);  // the last key came up at 1017
    seen.add(burst.poll(1117 * ms - 1));
    CHECK(seen.bursts.empty());
    seen.add(burst.poll(1117 * ms));
    REQUIRE(seen.bursts.size() == 1);
    CHECK(seen.bursts[0].text == "12.5");
    CHECK(!seen.bursts[0].refusal);
  }
  SUBCASE("a pause, where it may not: incomplete, and what comes next is another text") {
    KeyBurst burst(rules());
    burst.opened(0);
    for (const auto& event : twelve_and_a_half(2000 * ms)) events.push_back(event);
    events.push_back(down(28, 2020 * ms));
    const auto seen = fed(burst, events);
    REQUIRE(seen.bursts.size() == 2);
    CHECK(seen.bursts[0].refusal->reason == RefusalReason::incomplete);
    CHECK(seen.bursts[0].text == "12.5");
    CHECK(seen.bursts[1].text == "12.5");
    CHECK(!seen.bursts[1].refusal);
  }
  SUBCASE("Enter alone is nothing") {
    KeyBurst burst(rules());
    burst.opened(0);
    const auto seen = fed(burst, {down(28, 1000 * ms), up(28, 1002 * ms), down(28, 1005 * ms)});
    CHECK(seen.bursts.empty());
    CHECK(!burst.wake_at());
  }
}

TEST_CASE("what began before the port was open is refused up to its end; after a pause everything counts") {
  KeyBurst burst(rules());
  burst.opened(1000 * ms);
  SUBCASE("the tail of a value") {
    auto events = twelve_and_a_half(1003 * ms);
    events.push_back(down(28, 1023 * ms));
    for (const auto& event : twelve_and_a_half(1030 * ms)) events.push_back(event);
    events.push_back(up(28, 1049 * ms));
    events.push_back(down(28, 1050 * ms));
    const auto seen = fed(burst, events);
    REQUIRE(seen.bursts.size() == 2);
    CHECK(seen.bursts[0].refusal->reason == RefusalReason::incomplete);
    CHECK(!seen.bursts[1].refusal);
  }
  SUBCASE("only its Enter came after the opening") {
    auto events = std::vector<KeyEvent>{down(28, 1003 * ms), up(28, 1004 * ms)};
    for (const auto& event : twelve_and_a_half(1030 * ms)) events.push_back(event);
    events.push_back(down(28, 1050 * ms));
    const auto seen = fed(burst, events);
    REQUIRE(seen.bursts.size() == 1);
    CHECK(!seen.bursts[0].refusal);
  }
  SUBCASE("after a pause") {
    CHECK(burst.wake_at() == 1100 * ms);
    auto events = twelve_and_a_half(1100 * ms);
    events.push_back(down(28, 1120 * ms));
    const auto seen = fed(burst, events);
    REQUIRE(seen.bursts.size() == 1);
    CHECK(!seen.bursts[0].refusal);
  }
}

TEST_CASE("a burst that is cut off by the unplugging comes out refused and leaves nothing behind") {
  KeyBurst burst(rules());
  burst.opened(0);
  auto events = twelve_and_a_half(1000 * ms);
  events.push_back(down(42, 1018 * ms));  // shift stays down for ever
  CHECK(fed(burst, events).bursts.empty());
  Seen seen;
  seen.add(burst.cut_off());
  REQUIRE(seen.bursts.size() == 1);
  CHECK(seen.bursts[0].refusal->reason == RefusalReason::incomplete);
  CHECK(seen.bursts[0].text == "12.5");
  CHECK(burst.cut_off().empty());
  burst.opened(3000 * ms);
  auto next = twelve_and_a_half(4000 * ms);
  next.push_back(down(28, 4020 * ms));
  const auto after = fed(burst, next);
  REQUIRE(after.bursts.size() == 1);
  CHECK(after.bursts[0].text == "12.5");  // and no "!@>%": the shift is forgotten
  CHECK(!after.bursts[0].refusal);
}

TEST_CASE("keys that repeat, other events and releases that nobody waits for count for nothing") {
  KeyBurst burst(rules());
  burst.opened(0);
  const auto seen = fed(burst, {up(30, 990 * ms),
                                down(2, 1000 * ms),
                                {4, 4, 458782, 1000 * ms},
                                {0, 0, 0, 1000 * ms},
                                {1, 2, 2, 1250 * ms},
                                {1, 2, 2, 1283 * ms},
                                {17, 1, 1, 1284 * ms},
                                {1, 2, 7, 1285 * ms},
                                up(2, 1050 * ms),
                                down(28, 1060 * ms)});
  REQUIRE(seen.bursts.size() == 1);
  CHECK(seen.bursts[0].text == "1");
  // 250 ms without a key that changed: the burst had ended, although the key repeated.
  CHECK(seen.bursts[0].refusal->reason == RefusalReason::incomplete);
}

TEST_CASE("keys that type nothing refuse the whole burst, and are named") {
  const auto refusal = [](const std::vector<KeyEvent>& events, const char* layout = "us") {
    KeyBurst burst(rules(layout));
    burst.opened(0);
    auto seen = fed(burst, events);
    REQUIRE(seen.bursts.size() == 1);
    REQUIRE(seen.bursts[0].refusal);
    return seen.bursts[0];
  };
  auto function_key = refusal({down(2, 1000 * ms), up(2, 1001 * ms), down(65, 1005 * ms), up(65, 1006 * ms),
                               down(3, 1010 * ms), down(28, 1015 * ms)});
  CHECK(function_key.refusal->reason == RefusalReason::not_mine);
  CHECK(function_key.refusal->detail == "key f7 types nothing in layout us");
  CHECK(function_key.text == "1<f7>2");
  auto control = refusal(
      {down(29, 1000 * ms), down(36, 1001 * ms), up(36, 1002 * ms), up(29, 1003 * ms), down(28, 1010 * ms)});
  CHECK(control.refusal->detail == "keys leftctrl+j are a command, not a text");
  auto alt = refusal({down(100, 1000 * ms), down(16, 1001 * ms), up(100, 1003 * ms), down(28, 1010 * ms)});
  CHECK(alt.refusal->detail == "keys rightalt+q are a command, not a text");
  auto third =
      refusal({down(100, 1000 * ms), down(45, 1001 * ms), up(100, 1003 * ms), down(28, 1010 * ms)}, "de");
  CHECK(third.refusal->detail == "key x with AltGr types nothing in layout de");
  auto dead =
      refusal({down(13, 1000 * ms), up(13, 1001 * ms), down(18, 1005 * ms), down(28, 1010 * ms)}, "de");
  CHECK(dead.refusal->detail.starts_with("the dead key ´ before key e"));
  CHECK(dead.text == "´e");
  auto dead_end = refusal({down(13, 1000 * ms), down(28, 1010 * ms)}, "de");
  CHECK(dead_end.text == "´");
  auto twice = refusal({down(2, 1000 * ms), down(2, 1001 * ms), down(28, 1010 * ms)});
  CHECK(twice.refusal->reason == RefusalReason::incomplete);
  auto unknown = refusal({down(700, 1000 * ms), down(28, 1010 * ms)});
  CHECK(unknown.text == "<key 700>");
}

TEST_CASE("events that the system dropped refuse what is under way, whatever of it came through") {
  KeyBurst burst(rules());
  burst.opened(0);
  auto events = twelve_and_a_half(1000 * ms);
  events.insert(events.begin() + 4, KeyEvent{0, 3, 0, 1008 * ms});
  events.push_back(down(28, 1020 * ms));
  events.push_back(up(28, 1021 * ms));
  for (const auto& event : twelve_and_a_half(1030 * ms)) events.push_back(event);
  events.push_back(down(28, 1050 * ms));
  auto seen = fed(burst, events);
  REQUIRE(seen.bursts.size() == 2);
  CHECK(seen.bursts[0].refusal->reason == RefusalReason::incomplete);
  CHECK(!seen.bursts[1].refusal);
  // Dropped before its first key came: it is refused as well.
  events = {KeyEvent{0, 3, 0, 2000 * ms}};
  for (const auto& event : twelve_and_a_half(2010 * ms)) events.push_back(event);
  events.push_back(up(28, 2029 * ms));
  events.push_back(down(28, 2030 * ms));
  seen = fed(burst, events);
  REQUIRE(seen.bursts.size() == 1);
  CHECK(seen.bursts[0].refusal->reason == RefusalReason::incomplete);
}

TEST_CASE("a text that is longer than any frame is refused, and costs no more memory") {
  auto own = rules();
  own.longest = 16;
  KeyBurst burst(own);
  burst.opened(0);
  std::vector<KeyEvent> events;
  std::int64_t at = 1000 * ms;
  for (int n = 0; n < 100'000; ++n, at += ms) {
    events.push_back(down(2, at));
    events.push_back(up(2, at));
  }
  events.push_back(down(28, at));
  const auto seen = fed(burst, events);
  REQUIRE(seen.bursts.size() == 1);
  CHECK(seen.bursts[0].refusal->reason == RefusalReason::too_long);
  CHECK(seen.bursts[0].text == std::string(16, '1'));
}

TEST_CASE("keys that stand for themselves act when they go down, once, and are no part of a text") {
  auto own = rules();
  own.own = {183, 184};
  KeyBurst burst(own);
  burst.opened(1000 * ms);
  auto events = twelve_and_a_half(2000 * ms);
  events.insert(events.begin() + 2, down(183, 2003 * ms));
  events.push_back(down(28, 2020 * ms));
  for (int n = 1; n < 20; ++n) events.push_back({1, 183, 2, (2020 + n * 33) * ms});
  events.push_back(up(183, 3000 * ms));
  events.push_back(down(183, 3001 * ms));
  const auto seen = fed(burst, events);
  REQUIRE(seen.bursts.size() == 1);
  CHECK(seen.bursts[0].text == "12.5");
  CHECK(!seen.bursts[0].refusal);
  REQUIRE(seen.presses.size() == 2);
  CHECK(seen.presses[0].code == 183);
  CHECK(seen.presses[0].at_ns == 2003 * ms);
  CHECK(seen.presses[1].at_ns == 3001 * ms);
}

TEST_CASE("any text that a layout can type comes back, with Caps Lock pressed and turned off before") {
  if (!layouts_are_published()) {
    std::cout << "[skip] any text in any layout: xkb-data is not installed" << std::endl;
    return;
  }
  for (const auto* layout : {"us", "de", "fr"}) {
    std::vector<std::string> signs;
    for (const auto& [sign, stroke] : strokes_of(layout)) signs.push_back(sign);
    REQUIRE(signs.size() >= 95);
    CHECK(rc::check(std::string("typed in layout ") + layout, [&] {
      KeyBurst burst(rules(layout));
      burst.opened(0);
      Typist typist(layout, 1000 * ms, *rc::gen::inRange<std::int64_t>(0, 20) * ms);
      const bool caps = *rc::gen::arbitrary<bool>();
      std::string text;
      const auto count = *rc::gen::inRange<std::size_t>(1, 40);
      for (std::size_t n = 0; n < count; ++n) {
        std::string next = *rc::gen::elementOf(signs);
        // What our table leaves out is refused, not typed otherwise; that is another test's.
        const Stroke stroke = typist.strokes().at(next);
        const auto level = stroke.shift       ? KeyLevel::shift
                           : stroke.alt_graph ? KeyLevel::alt_graph
                                              : KeyLevel::plain;
        if (KeyLayout::named(layout)->typed(stroke.code, level, false).nothing()) continue;
        text += next;
      }
      RC_PRE(!text.empty());
      if (caps) {
        typist.press(58);
        typist.press(58);
      }
      RC_ASSERT(typist.text(text));
      typist.enter();
      const auto seen = fed(burst, typist.events);
      RC_ASSERT(seen.bursts.size() == 1U);
      RC_ASSERT(!seen.bursts[0].refusal);
      RC_ASSERT(seen.bursts[0].text == text);
    }));
  }
}

TEST_CASE("two devices that type at the same time never mix, however their events fall together") {
  CHECK(rc::check("interleaved", [] {
    const auto number = [] {
      std::string out;
      for (const int digit : *rc::gen::container<std::vector<int>>(6, rc::gen::inRange(0, 10)))
        out += static_cast<char>('0' + digit);
      return out;
    };
    std::array<std::string, 2> texts{number(), number()};
    std::array<std::vector<KeyEvent>, 2> events;
    for (std::size_t n = 0; n < 2; ++n) {
      std::int64_t at = 1000 * ms;
      for (const char digit : texts[n]) {
        const auto code = static_cast<std::uint16_t>(digit == '0' ? 11 : digit - '0' + 1);
        events[n].push_back(down(code, at));
        events[n].push_back(up(code, at + ms));
        at += 7 * ms;
      }
      events[n].push_back(down(28, at));
    }
    std::array<KeyBurst, 2> bursts{KeyBurst(rules()), KeyBurst(rules())};
    for (auto& one : bursts) one.opened(0);
    std::array<Seen, 2> seen;
    std::array<std::size_t, 2> at{0, 0};
    while (at[0] < events[0].size() || at[1] < events[1].size()) {
      const std::size_t turn = at[0] >= events[0].size()   ? 1
                               : at[1] >= events[1].size() ? 0
                                                           : *rc::gen::inRange<std::size_t>(0, 2);
      seen[turn].add(bursts[turn].feed(events[turn][at[turn]++]));
    }
    for (std::size_t n = 0; n < 2; ++n) {
      RC_ASSERT(seen[n].bursts.size() == 1U);
      RC_ASSERT(seen[n].bursts[0].text == texts[n]);
    }
  }));
}
