// What a keyboard sends when a text is typed on it, by the layouts that xkeyboard-config publishes: the
// tests' own way from a character to keys, which includes none of the code under test.
#pragma once

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <optional>
#include <regex>
#include <string>
#include <vector>

#include "drivers/decode/key_burst.hpp"

namespace tallystick::decode::test {

inline const std::filesystem::path published = "/usr/share/X11/xkb";

inline std::string file_text(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// Names of signs as the X Window System Protocol's appendix on keyboard symbols has them (from memory), for
/// those that the layouts under test use.
inline const std::map<std::string, std::string>& signs() {
  static const std::map<std::string, std::string> all = {{"grave", "`"},
                                                         {"asciitilde", "~"},
                                                         {"exclam", "!"},
                                                         {"at", "@"},
                                                         {"numbersign", "#"},
                                                         {"dollar", "$"},
                                                         {"percent", "%"},
                                                         {"asciicircum", "^"},
                                                         {"ampersand", "&"},
                                                         {"asterisk", "*"},
                                                         {"parenleft", "("},
                                                         {"parenright", ")"},
                                                         {"minus", "-"},
                                                         {"underscore", "_"},
                                                         {"equal", "="},
                                                         {"plus", "+"},
                                                         {"bracketleft", "["},
                                                         {"bracketright", "]"},
                                                         {"braceleft", "{"},
                                                         {"braceright", "}"},
                                                         {"semicolon", ";"},
                                                         {"colon", ":"},
                                                         {"apostrophe", "'"},
                                                         {"quotedbl", "\""},
                                                         {"backslash", "\\"},
                                                         {"bar", "|"},
                                                         {"comma", ","},
                                                         {"less", "<"},
                                                         {"period", "."},
                                                         {"greater", ">"},
                                                         {"slash", "/"},
                                                         {"question", "?"},
                                                         {"degree", "°"},
                                                         {"section", "§"},
                                                         {"twosuperior", "²"},
                                                         {"threesuperior", "³"},
                                                         {"ssharp", "ß"},
                                                         {"udiaeresis", "ü"},
                                                         {"Udiaeresis", "Ü"},
                                                         {"odiaeresis", "ö"},
                                                         {"Odiaeresis", "Ö"},
                                                         {"adiaeresis", "ä"},
                                                         {"Adiaeresis", "Ä"},
                                                         {"EuroSign", "€"},
                                                         {"mu", "µ"},
                                                         {"eacute", "é"},
                                                         {"egrave", "è"},
                                                         {"ccedilla", "ç"},
                                                         {"agrave", "à"},
                                                         {"ugrave", "ù"},
                                                         {"sterling", "£"},
                                                         {"currency", "¤"},
                                                         {"dead_circumflex", "dead ^"},
                                                         {"dead_acute", "dead ´"},
                                                         {"dead_grave", "dead `"},
                                                         {"dead_diaeresis", "dead ¨"},
                                                         {"space", " "}};
  return all;
}

/// "dead ^" for a dead key; empty where the sign is none of the list.
inline std::string sign(const std::string& name) {
  if (name.size() == 1) return name;
  const auto found = signs().find(name);
  return found == signs().end() ? std::string() : found->second;
}

/// <AE01> -> 2: the kernel's number is the published one less 8.
inline std::map<std::string, std::uint16_t> published_codes() {
  std::map<std::string, std::uint16_t> out;
  const std::string text = file_text(published / "keycodes/evdev");
  const std::regex line(R"(<(\w+)>\s*=\s*(\d+)\s*;)");
  for (std::sregex_iterator at(text.begin(), text.end(), line), end; at != end; ++at)
    out.emplace((*at)[1], static_cast<std::uint16_t>(std::stoi((*at)[2]) - 8));
  return out;
}

/// Key -> names of its signs by level, of one block and all that it includes; later ones overrule.
inline void read_symbols(const std::string& file, const std::string& block,
                         std::map<std::string, std::vector<std::string>>& out,
                         std::string* includes = nullptr) {
  std::string text = file_text(published / "symbols" / file);
  text = std::regex_replace(text, std::regex("//[^\n]*"), "");
  const std::string head =
      block.empty() ? R"(default[\w\s]*xkb_symbols\s+"[^"]+")" : "xkb_symbols\\s+\"" + block + "\"";
  std::smatch begin;
  if (!std::regex_search(text, begin, std::regex(head))) return;
  text = begin.suffix();
  const auto end = text.find("\n};");
  text = text.substr(0, end);
  const std::regex item(
      R"rx(include\s+"(\w+)(?:\((\w+)\))?"|key\s*<(\w+)>\s*\{[^\[\}]*(?:symbols\[Group1\]\s*=\s*)?\[([^\]]*)\])rx");
  const std::string cleaned = std::regex_replace(text, std::regex(R"((type|symbols)\[Group1\])"), "$1");
  for (std::sregex_iterator at(cleaned.begin(), cleaned.end(), item), last; at != last; ++at) {
    if ((*at)[1].matched) {
      const std::string inner = (*at)[1];
      if (includes != nullptr) *includes += inner + "(" + (*at)[2].str() + ") ";
      if (std::filesystem::exists(published / "symbols" / inner)) read_symbols(inner, (*at)[2], out);
      continue;
    }
    std::vector<std::string> levels;
    const std::string list = (*at)[4];
    const std::regex word(R"([\w]+)");
    for (std::sregex_iterator name(list.begin(), list.end(), word), none; name != none; ++name)
      levels.push_back(name->str());
    out[(*at)[3]] = levels;
  }
}

/// Kernel's number -> names of its signs.
inline std::map<std::uint16_t, std::vector<std::string>> published_layout(const std::string& layout) {
  std::map<std::string, std::vector<std::string>> keys;
  read_symbols("pc", "pc105", keys);
  read_symbols(layout, "basic", keys);
  const auto codes = published_codes();
  std::map<std::uint16_t, std::vector<std::string>> out;
  for (const auto& [name, levels] : keys)
    if (const auto code = codes.find(name); code != codes.end()) out[code->second] = levels;
  return out;
}

struct Stroke {
  std::uint16_t code = 0;
  bool shift = false, alt_graph = false, then_space = false;
};

/// How each sign is typed in a layout: plain, shift and AltGr; a dead key is followed by the space bar.
inline std::map<std::string, Stroke> strokes_of(const std::string& layout) {
  std::map<std::string, Stroke> out;
  const auto published_keys = published_layout(layout);
  // The plainest way to a sign first. Layouts without AltGr have no third level, whatever their base has.
  for (std::size_t level = 0; level < (layout == "us" ? 2U : 3U); ++level) {
    for (const auto& [code, levels] : published_keys) {
      const bool main_block = code <= 88 && code != 55 && (code < 71 || code > 83);
      if (!main_block || level >= levels.size()) continue;
      std::string typed = sign(levels[level]);
      const bool dead = typed.starts_with("dead ");
      if (dead) typed = typed.substr(5);
      if (!typed.empty()) out.emplace(typed, Stroke{code, level == 1, level == 2, dead});
    }
  }
  return out;
}

/// Events of a device that types; `now_ns` moves on by `step_ns` with each.
class Typist {
 public:
  explicit Typist(std::string layout, std::int64_t begin_ns = 0, std::int64_t step_ns = 2'000'000)
      : now_ns(begin_ns), step_ns_(step_ns), strokes_(strokes_of(layout)) {}

  std::int64_t now_ns;
  std::vector<KeyEvent> events;

  void event(std::uint16_t type, std::uint16_t code, std::int32_t value) {
    events.push_back({type, code, value, now_ns});
    now_ns += step_ns_;
  }
  void key(std::uint16_t code, std::int32_t value) { event(1, code, value); }
  void press(std::uint16_t code) {
    key(code, 1);
    event(0, 0, 0);
    key(code, 0);
    event(0, 0, 0);
  }
  void stroke(const Stroke& stroke) {
    if (stroke.shift) key(42, 1);
    if (stroke.alt_graph) key(100, 1);
    press(stroke.code);
    if (stroke.alt_graph) key(100, 0);
    if (stroke.shift) key(42, 0);
    if (stroke.then_space) press(57);
  }
  /// False where the layout has no such sign.
  bool text(const std::string& signs) {
    for (std::size_t at = 0; at < signs.size();) {
      const auto lead = static_cast<unsigned char>(signs[at]);
      const std::size_t size = lead < 0x80 ? 1 : lead < 0xE0 ? 2 : 3;
      const auto known = strokes_.find(signs.substr(at, size));
      if (known == strokes_.end()) return false;
      stroke(known->second);
      at += size;
    }
    return true;
  }
  void enter() { press(28); }
  void pause(std::int64_t ns) { now_ns += ns; }
  const std::map<std::string, Stroke>& strokes() const { return strokes_; }

 private:
  std::int64_t step_ns_;
  std::map<std::string, Stroke> strokes_;
};

/// For a text without a published layout at hand: the signs of numbers as a US keyboard has them.
inline bool layouts_are_published() { return std::filesystem::exists(published / "symbols/us"); }

}  // namespace tallystick::decode::test
