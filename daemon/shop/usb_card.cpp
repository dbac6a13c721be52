// The keys that name a serial line on USB: read from a [[port]], and as a text.
#include "daemon/shop/usb_card.hpp"

#include <algorithm>

namespace tallystick::shop {
namespace {

bool is_hex(char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'); }
bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Four hexadecimal digits, a colon, four more.
bool is_usb_id(const std::string& text) {
  return text.size() == 9 && text[4] == ':' && std::all_of(text.begin(), text.begin() + 4, is_hex) &&
         std::all_of(text.begin() + 5, text.end(), is_hex);
}

/// "1-1.2": a bus, a dash, ports with dots between.
bool is_usb_port(const std::string& text) {
  const auto dash = text.find('-');
  if (dash == std::string::npos || dash == 0 || dash + 1 == text.size()) return false;
  if (!std::all_of(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(dash), is_digit)) return false;
  bool digit_before = false;
  for (const char c : text.substr(dash + 1)) {
    if (c == '.' ? !digit_before : !is_digit(c)) return false;
    digit_before = c != '.';
  }
  return digit_before;
}

}  // namespace

std::string UsbCard::text() const {
  if (!stands()) return {};
  return (!serial.empty() ? "usb_serial " + serial
          : !port.empty() ? "usb_port " + port
                          : "usb_id " + id) +
         (interface >= 0 ? ", interface " + std::to_string(interface) : std::string());
}

UsbCard read_usb(checklist::TomlTable& table) {
  UsbCard out;
  out.serial = table.text("usb_serial");
  out.port = table.text("usb_port");
  out.id = table.text("usb_id");
  std::transform(out.id.begin(), out.id.end(), out.id.begin(),
                 [](char c) { return c >= 'A' && c <= 'F' ? static_cast<char>(c - 'A' + 'a') : c; });
  out.interface = table.whole("usb_interface", 0, 255, -1);
  if (!out.port.empty() && !is_usb_port(out.port))
    table.fault("usb_port", "not_a_usb_port", "\"" + out.port + "\" is no socket on USB",
                "write bus, dash and ports as in \"1-1.2\"; `tallystick doctor` lists them");
  if (!out.id.empty() && !is_usb_id(out.id))
    table.fault("usb_id", "not_a_usb_id", "\"" + out.id + "\" is no pair of vendor and product",
                "write four hexadecimal digits, a colon and four more, as in \"0403:6001\"");
  return out;
}

}  // namespace tallystick::shop
