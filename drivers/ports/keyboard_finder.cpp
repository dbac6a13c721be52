#include "drivers/ports/keyboard_finder.hpp"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <climits>
#include <cstdio>
#include <fstream>
#include <optional>

#include "drivers/decode/key_names.hpp"

namespace tallystick::ports {
namespace {

namespace files = std::filesystem;

std::string line_of(const files::path& file) {
  std::ifstream stream(file);
  std::string line;
  std::getline(stream, line);
  while (!line.empty() && std::isspace(static_cast<unsigned char>(line.back())) != 0) line.pop_back();
  return line.substr(0, 400);
}

std::optional<unsigned long> hex_number(std::string_view text) {
  unsigned long value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, 16);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

/// The kernel writes the set as words of its own size in hex, the highest first, leading empty ones left out.
std::set<std::uint16_t> keys_of(const std::string& line) {
  std::vector<unsigned long> words;
  for (std::size_t at = 0; at < line.size();) {
    const auto end = std::min(line.find(' ', at), line.size());
    if (end > at) words.push_back(hex_number(std::string_view(line).substr(at, end - at)).value_or(0));
    at = end + 1;
  }
  std::set<std::uint16_t> out;
  constexpr std::size_t bits = sizeof(unsigned long) * CHAR_BIT;
  for (std::size_t word = 0; word < words.size() && word < 16; ++word)
    for (std::size_t bit = 0; bit < bits; ++bit)
      if ((words[words.size() - 1 - word] >> bit & 1U) != 0)
        out.insert(static_cast<std::uint16_t>(word * bits + bit));
  return out;
}

std::string id_text(int vendor, int product) {
  char out[16];
  std::snprintf(out, sizeof out, "%04x:%04x", static_cast<unsigned>(vendor & 0xFFFF),
                static_cast<unsigned>(product & 0xFFFF));
  return out;
}

bool fits(const KeyboardSettings& wanted, const std::string& node_of_path, const FoundKeyboard& one) {
  if (wanted.vendor >= 0 && (one.vendor != wanted.vendor || one.product != wanted.product)) return false;
  if (!wanted.serial.empty() && one.serial != wanted.serial) return false;
  if (!wanted.socket.empty() && one.socket != wanted.socket && !one.socket.starts_with(wanted.socket + "/"))
    return false;
  return wanted.path.empty() || one.node == node_of_path;
}

bool has_wanted_keys(const KeyboardSettings& wanted, bool types, const FoundKeyboard& one) {
  if (types) return one.keys.contains(decode::key::one) || one.keys.contains(decode::key::keypad_one);
  return std::any_of(wanted.actions.begin(), wanted.actions.end(), [&](const KeyAction& action) {
    const auto code = decode::key_named(action.key);
    return code && one.keys.contains(*code);
  });
}

std::string list_of(const std::vector<FoundKeyboard>& found) {
  std::string out;
  std::size_t count = 0;
  for (const auto& one : found) {
    // Power buttons and the like are no help to somebody who looks for a gauge.
    if (one.vendor == 0 && one.serial.empty()) continue;
    if (++count > 6) return out + ", and more";
    out += (out.empty() ? "" : "; ") + described(one);
  }
  return out;
}

}  // namespace

std::string_view name(KeyDeed deed) {
  switch (deed) {
    case KeyDeed::good:
      return "good";
    case KeyDeed::not_good:
      return "not_good";
    case KeyDeed::again:
      return "again";
    case KeyDeed::ask:
      return "ask";
  }
  return "?";
}

std::vector<FoundKeyboard> find_keyboards(const InputRoots& in) {
  std::vector<std::pair<unsigned long, FoundKeyboard>> numbered;
  std::error_code code;
  for (files::directory_iterator entry(in.classes, code), end; !code && entry != end; entry.increment(code)) {
    const auto name = entry->path().filename().string();
    constexpr std::string_view begin = "event";
    if (!name.starts_with(begin)) continue;
    unsigned long number = 0;
    const auto digits = std::string_view(name).substr(begin.size());
    if (std::from_chars(digits.data(), digits.data() + digits.size(), number).ec != std::errc()) continue;
    const auto device = entry->path() / "device";
    FoundKeyboard one;
    one.node = (in.devices / name).string();
    one.name = line_of(device / "name");
    one.serial = line_of(device / "uniq");
    one.socket = line_of(device / "phys");
    one.vendor = static_cast<int>(hex_number(line_of(device / "id/vendor")).value_or(0));
    one.product = static_cast<int>(hex_number(line_of(device / "id/product")).value_or(0));
    one.keys = keys_of(line_of(device / "capabilities/key"));
    if (!one.keys.empty()) numbered.emplace_back(number, std::move(one));
  }
  std::sort(numbered.begin(), numbered.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  std::vector<FoundKeyboard> out;
  for (auto& [number, one] : numbered) out.push_back(std::move(one));
  return out;
}

std::string described(const FoundKeyboard& one) {
  const auto slash = one.node.rfind('/');
  std::string out =
      one.node.substr(slash == std::string::npos ? 0 : slash + 1) + " (" + id_text(one.vendor, one.product);
  if (!one.name.empty()) out += " \"" + one.name + "\"";
  if (!one.serial.empty()) out += ", serial " + one.serial;
  if (!one.socket.empty()) out += ", at " + one.socket;
  return out + ")";
}

std::string key_text(const KeyboardSettings& settings) {
  std::string out;
  const auto add = [&](const std::string& text) { out += (out.empty() ? "" : ", ") + text; };
  if (settings.vendor >= 0) add("usb " + id_text(settings.vendor, settings.product));
  if (!settings.serial.empty()) add("serial " + settings.serial);
  if (!settings.socket.empty()) add("at " + settings.socket);
  if (!settings.path.empty()) {
    if (out.empty()) return settings.path;
    add("at " + settings.path);
  }
  return out;
}

Expected<FoundKeyboard> choose_keyboard(const KeyboardSettings& settings, bool types,
                                        const std::vector<FoundKeyboard>& found, const std::string& where) {
  std::string node;
  if (!settings.path.empty()) {
    std::error_code code;
    node = files::canonical(settings.path, code).string();
    if (code)
      return fail("port_absent", settings.path + " is not there", where,
                  "plug the device in, or look at the path (ls -l /dev/input/by-path)");
  }
  std::vector<FoundKeyboard> meant, able;
  for (const auto& one : found)
    if (fits(settings, node, one)) meant.push_back(one);
  for (const auto& one : meant)
    if (has_wanted_keys(settings, types, one)) able.push_back(one);
  if (able.size() == 1) return able.front();
  if (able.size() > 1)
    return fail("port_ambiguous",
                "two devices fit (" + key_text(settings) + "): " + described(able[0]) + " and " +
                    described(able[1]) + "; neither is opened",
                where,
                "add the serial number, or the socket that it is plugged in: usb_serial = \"...\" or socket = "
                "\"...\"");
  if (!meant.empty())
    return fail("not_a_keyboard",
                described(meant.front()) +
                    (types ? " has no digits, so it types no values" : " has none of the keys that act here"),
                where, "look at the port's keys, or name another device");
  const std::string there = list_of(found);
  return fail("port_absent", "no device that types fits (" + key_text(settings) + ")", where,
              there.empty() ? "plug it in; it is taken up by itself"
                            : "plug it in; it is taken up by itself. There are: " + there);
}

}  // namespace tallystick::ports
