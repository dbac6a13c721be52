// Key names against the kernel's header, layouts against xkeyboard-config:
// /usr/include/linux/input-event-codes.h and /usr/share/X11/xkb (Debian package xkb-data), both read as they
// are installed.
#include "drivers/decode/key_layout.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <iostream>
#include <set>

#include "drivers/decode/key_names.hpp"
#include "typist.hpp"

using namespace tallystick::decode;
using namespace tallystick::decode::test;

namespace {

bool published_or_skipped(const char* what) {
  if (layouts_are_published()) return true;
  std::cout << "[skip] " << what << ": xkb-data is not installed" << std::endl;
  return false;
}

std::string ours(const TypedText& typed) {
  return typed.dead ? "dead " + std::string(typed.text) : std::string(typed.text);
}

}  // namespace

TEST_CASE("names of keys are the kernel's") {
  const std::string header = file_text("/usr/include/linux/input-event-codes.h");
  REQUIRE(!header.empty());
  std::map<std::string, int> kernel;
  const std::regex line(R"(#define\s+KEY_(\w+)\s+(\d+)\b)");
  for (std::sregex_iterator at(header.begin(), header.end(), line), end; at != end; ++at) {
    std::string name = (*at)[1];
    std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) { return std::tolower(c); });
    kernel.emplace(name, std::stoi((*at)[2]));
  }
  REQUIRE(kernel.size() > 200);
  std::size_t named = 0;
  for (std::uint16_t code = 0; code < 768; ++code) {
    const std::string name = key_name(code);
    if (name == "key " + std::to_string(code)) continue;
    ++named;
    REQUIRE_MESSAGE(kernel.contains(name), name);
    CHECK_MESSAGE(kernel[name] == code, name);
    CHECK(key_named(name) == code);
  }
  CHECK(named > 120);
  for (const auto& [ours, theirs] :
       {std::pair{key::enter, "enter"}, std::pair{key::keypad_enter, "kpenter"}, std::pair{key::tab, "tab"},
        std::pair{key::left_shift, "leftshift"}, std::pair{key::right_shift, "rightshift"},
        std::pair{key::left_ctrl, "leftctrl"}, std::pair{key::right_ctrl, "rightctrl"},
        std::pair{key::left_alt, "leftalt"}, std::pair{key::right_alt, "rightalt"},
        std::pair{key::left_meta, "leftmeta"}, std::pair{key::right_meta, "rightmeta"},
        std::pair{key::caps_lock, "capslock"}, std::pair{key::num_lock, "numlock"},
        std::pair{key::scroll_lock, "scrolllock"}, std::pair{key::space, "space"}, std::pair{key::one, "1"},
        std::pair{key::zero, "0"}, std::pair{key::keypad_seven, "kp7"}, std::pair{key::keypad_zero, "kp0"}})
    CHECK_MESSAGE(kernel[theirs] == ours, theirs);
  CHECK(!key_named("f99"));
  CHECK(nearest_key_name("pagup") == "pageup");
}

TEST_CASE("every sign of a layout stands where the published layout has it") {
  if (!published_or_skipped("layouts against the published ones")) return;
  for (const auto name : KeyLayout::names()) {
    const auto layout = KeyLayout::named(name);
    REQUIRE(layout);
    const auto published = published_layout(std::string(name));
    CHECK(layout->rows().size() == 48);
    for (const auto& row : layout->rows()) {
      const auto known = published.find(row.code);
      REQUIRE_MESSAGE(known != published.end(), name, " ", key_name(row.code));
      const auto& levels = known->second;
      REQUIRE(levels.size() >= 2);
      CHECK_MESSAGE(ours(row.plain) == sign(levels[0]), name, " ", key_name(row.code));
      CHECK_MESSAGE(ours(row.shift) == sign(levels[1]), name, " ", key_name(row.code), " with shift");
      if (!row.alt_graph.nothing()) {
        REQUIRE(levels.size() >= 3);
        CHECK_MESSAGE(ours(row.alt_graph) == sign(levels[2]), name, " ", key_name(row.code), " with AltGr");
      }
    }
  }
}

TEST_CASE("whatever ASCII a published layout types, ours types too, by the same keys") {
  if (!published_or_skipped("all of ASCII in each layout")) return;
  for (const auto name : KeyLayout::names()) {
    const auto layout = KeyLayout::named(name);
    std::set<std::string> typed;
    for (const auto& [sign, stroke] : strokes_of(std::string(name))) {
      if (sign.size() != 1) continue;
      const auto level = stroke.shift       ? KeyLevel::shift
                         : stroke.alt_graph ? KeyLevel::alt_graph
                                            : KeyLevel::plain;
      CHECK_MESSAGE(layout->typed(stroke.code, level, false).text == sign, name, " ", sign);
      typed.insert(sign);
    }
    for (char c = ' '; c < 127; ++c) CHECK_MESSAGE(typed.contains(std::string(1, c)), name, " has no ", c);
    CHECK(layout->has_alt_graph() == (name != "us"));
  }
}

TEST_CASE("the keypad types digits, and the decimal sign that the published layout gives it") {
  for (const auto name : KeyLayout::names()) {
    const auto layout = KeyLayout::named(name);
    std::string digits;
    for (const char* key : {"kp0", "kp1", "kp2", "kp3", "kp4", "kp5", "kp6", "kp7", "kp8", "kp9", "kpminus",
                            "kpplus", "kpslash", "kpasterisk"})
      digits += layout->typed(*key_named(key), KeyLevel::plain, true).text;
    CHECK(digits == "0123456789-+/*");
  }
  if (!published_or_skipped("the keypad's decimal sign")) return;
  for (const auto name : KeyLayout::names()) {
    const auto layout = KeyLayout::named(name);
    std::string includes;
    std::map<std::string, std::vector<std::string>> keys;
    read_symbols(std::string(name), "basic", keys, &includes);
    const bool comma = includes.find("kpdl(comma)") != std::string::npos;
    CHECK(comma == (name == "de"));
    CHECK(layout->typed(*key_named("kpdot"), KeyLevel::plain, false).text == (comma ? "," : "."));
  }
}

TEST_CASE("Caps Lock turns letters round and nothing else") {
  const auto us = KeyLayout::named("us"), de = KeyLayout::named("de"), fr = KeyLayout::named("fr");
  const auto of = [](const auto& layout, const char* key, KeyLevel level) {
    return layout->typed(*key_named(key), level, true).text;
  };
  CHECK(of(us, "a", KeyLevel::plain) == "A");
  CHECK(of(us, "a", KeyLevel::shift) == "a");
  CHECK(of(us, "1", KeyLevel::plain) == "1");
  CHECK(of(us, "dot", KeyLevel::plain) == ".");
  CHECK(of(de, "apostrophe", KeyLevel::plain) == "Ä");
  CHECK(of(de, "minus", KeyLevel::plain) == "ß");
  CHECK(of(fr, "1", KeyLevel::shift) == "1");
  CHECK(of(fr, "2", KeyLevel::plain) == "é");
}

TEST_CASE("there is no other layout") {
  CHECK(!KeyLayout::named("ch"));
  CHECK(!KeyLayout::named(""));
}
