#include "daemon/shop/keyboard_card.hpp"

#include <algorithm>
#include <charconv>
#include <set>

#include "daemon/checklist/toml_reader.hpp"
#include "drivers/decode/key_layout.hpp"
#include "drivers/decode/key_names.hpp"

namespace tallystick::shop {
namespace {

using checklist::TomlTable;
using checklist::TomlText;

constexpr std::size_t longest_text = 200;

int hex_of(std::string_view four) {
  int value = -1;
  const auto [end, error] = std::from_chars(four.data(), four.data() + four.size(), value, 16);
  return error == std::errc() && end == four.data() + four.size() && four[0] != '-' ? value : -1;
}

void read_ends(TomlTable& port, KeyboardCard& card) {
  if (!port.has("ends")) return;
  card.ends = port.texts("ends");
  for (const auto& end : card.ends)
    if (end != "enter" && end != "tab" && end != "gap")
      port.fault("ends", "wrong_value", "\"" + end + "\" ends nothing",
                 "write any of \"enter\", \"tab\" and \"gap\"");
  if (card.ends.empty())
    port.fault("ends", "wrong_value", "nothing would ever end what is typed",
               "write ends = [\"enter\"], as the device is set");
}

void read_layout(TomlTable& port, KeyboardCard& card) {
  std::vector<std::string> words;
  for (const auto name : decode::KeyLayout::names()) words.emplace_back(name);
  card.layout = port.word("layout", words, card.layout);
}

void read_key(TomlTable& table, KeyActionCard& action) {
  action.key = table.text("key");
  if (action.key.empty() || decode::key_named(action.key)) return;
  const auto nearest = decode::nearest_key_name(action.key);
  table.fault("key", "unknown_key_name", "there is no key \"" + action.key + "\"",
              nearest.empty() ? "names are the kernel's without KEY_, in small letters: \"f13\", \"kp1\", "
                                "\"pageup\""
                              : "did you mean \"" + nearest + "\"?");
  action.key.clear();
}

KeyActionCard read_action(TomlTable& table) {
  KeyActionCard action;
  read_key(table, action);
  action.text = table.text("text");
  if (table.has("key") == table.has("text"))
    table.fault("", "contradiction", "an action needs a key or a text, and one of them only",
                "write key = \"f13\", or text = \"...\" with all that is typed before Enter");
  if (action.text.size() > longest_text)
    table.fault("text", "out_of_range", "a text of " + std::to_string(action.text.size()) + " bytes",
                "at most " + std::to_string(longest_text));
  action.does = table.word("does", {"good", "not_good", "again", "ask"}, "");
  if (!table.has("does"))
    table.fault("", "missing_key", "\"does\" is missing",
                "add does = \"good\", \"not_good\", \"again\" or \"ask\"");
  action.gauge = table.text("gauge");
  if (action.does == "ask" && action.gauge.empty())
    table.fault("", "missing_key", "it says of no gauge that it is asked", "add gauge = \"...\"");
  if (action.does != "ask" && !action.gauge.empty())
    table.fault("gauge", "contradiction", "a gauge, but nothing is asked",
                "write does = \"ask\", or take the gauge out");
  action.reason = table.text("reason");
  if (!action.reason.empty() && action.does != "not_good" && action.does != "again")
    table.fault("reason", "contradiction", "a reason, but this action takes none",
                "a reason belongs to \"not_good\" (passing a step over) or \"again\" (a retake)");
  table.done();
  return action;
}

void read_actions(const TomlText& text, TomlTable& port, KeyboardCard& card) {
  std::set<std::string> keys, texts;
  for (const auto* from : port.tables("action")) {
    TomlTable table(text, *from, "action of a keyboard port");
    auto action = read_action(table);
    if (!action.key.empty() && !keys.insert(action.key).second)
      table.fault("key", "double_id", "key \"" + action.key + "\" acts already", "one action for each key");
    if (!action.text.empty() && !texts.insert(action.text).second)
      table.fault("text", "double_id", "text \"" + action.text + "\" acts already",
                  "one action for each text");
    card.actions.push_back(std::move(action));
  }
}

}  // namespace

UsbNumbers usb_numbers(const std::string& usb) {
  if (usb.size() != 9 || usb[4] != ':') return {};
  const UsbNumbers out{hex_of(std::string_view(usb).substr(0, 4)), hex_of(std::string_view(usb).substr(5))};
  return out.vendor < 0 || out.product < 0 ? UsbNumbers{} : out;
}

KeyboardCard read_keyboard(const TomlText& text, TomlTable& port) {
  KeyboardCard card;
  card.usb = port.text("usb_id");
  if (!card.usb.empty() && usb_numbers(card.usb).vendor < 0)
    port.fault("usb_id", "wrong_value", "\"" + card.usb + "\" are no USB numbers",
               "write vendor and product as lsusb shows them: four hex digits, a colon, four more");
  card.serial = port.text("usb_serial");
  card.socket = port.text("socket");
  if (card.usb.empty() && card.serial.empty() && card.socket.empty() && !port.has("path"))
    port.fault("", "missing_key", "nothing says which device it is",
               "add usb_id = \"vendor:product\", usb_serial, socket, or path = \"/dev/input/by-path/...\"");
  read_layout(port, card);
  read_ends(port, card);
  card.gap_ms = port.whole("gap_ms", 10, 5000, card.gap_ms);
  card.repeat_window_s = port.number("repeat_window_s", 0, 10, card.repeat_window_s);
  card.bench = port.text("bench");
  read_actions(text, port, card);
  const bool acts = std::any_of(card.actions.begin(), card.actions.end(),
                                [](const auto& one) { return !one.does.empty() && one.does != "ask"; });
  if (acts && card.bench.empty())
    port.fault("", "missing_key", "its actions belong to no bench", "add bench = \"...\"");
  const bool texts = std::any_of(card.actions.begin(), card.actions.end(),
                                 [](const auto& one) { return !one.text.empty(); });
  if (const auto key = key_taken_from_texts(card); texts && !key.empty())
    port.fault("action", "contradiction", "key \"" + key + "\" acts, and is typed in texts as well",
               "let a key act that is never part of a text, as \"f13\"");
  return card;
}

std::string device_text(const KeyboardCard& card, const std::string& path) {
  std::string out;
  const auto add = [&](const char* what, const std::string& value) {
    if (!value.empty()) out += (out.empty() ? "" : ", ") + std::string(what) + value;
  };
  add("usb ", card.usb);
  add("serial ", card.serial);
  add("at ", card.socket);
  add(out.empty() ? "" : "at ", path);
  return out;
}

std::string key_taken_from_texts(const KeyboardCard& card) {
  const auto layout = decode::KeyLayout::named(card.layout);
  if (!layout) return {};
  static const std::set<std::string> control = {"enter",      "kpenter",  "tab",     "leftshift",
                                                "rightshift", "rightalt", "capslock"};
  for (const auto& action : card.actions) {
    const auto code = decode::key_named(action.key);
    if (code &&
        (control.contains(action.key) || !layout->typed(*code, decode::KeyLevel::plain, false).nothing()))
      return action.key;
  }
  return {};
}

}  // namespace tallystick::shop
