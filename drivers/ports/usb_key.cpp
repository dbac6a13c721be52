#include "drivers/ports/usb_key.hpp"

#include <algorithm>
#include <cctype>

namespace tallystick::ports {
namespace {

std::string_view word(UsbKey::By by) {
  switch (by) {
    case UsbKey::By::serial:
      return "usb_serial";
    case UsbKey::By::port:
      return "usb_port";
    case UsbKey::By::id:
      return "usb_id";
    case UsbKey::By::none:
      break;
  }
  return "";
}

/// Hexadecimal numbers are written in both cases; sysfs has small letters.
bool same_number(const std::string& a, const std::string& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](unsigned char x, unsigned char y) { return std::tolower(x) == std::tolower(y); });
}

/// "/dev/ttyUSB0 in socket 1-1.2"
std::string place(const FoundPort& line) {
  return line.node + " in socket " + line.usb_port +
         (line.usb_interface > 0 ? ", interface " + std::to_string(line.usb_interface) : std::string());
}

template <class Text>
std::string joined(const std::vector<FoundPort>& lines, Text text) {
  constexpr std::size_t most = 6;
  std::string out;
  for (std::size_t n = 0; n < lines.size() && n < most; ++n) out += (n > 0 ? "; " : "") + text(lines[n]);
  if (lines.size() > most) out += "; and " + std::to_string(lines.size() - most) + " more";
  return out;
}

bool same_name(const FoundPort& a, const FoundPort& b) {
  return a.usb_id == b.usb_id && a.serial == b.serial && a.usb_interface == b.usb_interface;
}

tl::unexpected<Error> ambiguous(const std::string& what, const std::string& port,
                                const std::vector<FoundPort>& lines) {
  const bool one_device = std::all_of(lines.begin(), lines.end(),
                                      [&](const auto& line) { return line.usb_port == lines[0].usb_port; });
  return fail("port_ambiguous", what, "port " + port,
              one_device ? "name one of its lines by usb_interface beside the key"
                         : "name it by its socket, as usb_port = \"" + lines[0].usb_port +
                               "\", and plug it in there always");
}

}  // namespace

UsbKey usb_key(const std::string& serial, const std::string& port, const std::string& id, int interface) {
  if (!serial.empty()) return {UsbKey::By::serial, serial, interface};
  if (!port.empty()) return {UsbKey::By::port, port, interface};
  if (!id.empty()) return {UsbKey::By::id, id, interface};
  return {};
}

std::string text(const UsbKey& key) {
  if (!key) return {};
  return std::string(word(key.by)) + ' ' + key.value +
         (key.interface >= 0 ? ", interface " + std::to_string(key.interface) : std::string());
}

bool matches(const UsbKey& key, const FoundPort& line) {
  if (!key || !line.usb || (key.interface >= 0 && key.interface != line.usb_interface)) return false;
  switch (key.by) {
    case UsbKey::By::serial:
      return line.serial == key.value;
    case UsbKey::By::port:
      return line.usb_port == key.value;
    case UsbKey::By::id:
      return same_number(line.usb_id, key.value);
    case UsbKey::By::none:
      break;
  }
  return false;
}

std::string better_key(const FoundPort& line, const std::vector<FoundPort>& all) {
  if (!line.usb || line.usb_port.empty()) return {};
  UsbKey key{line.serial.empty() ? UsbKey::By::port : UsbKey::By::serial,
             line.serial.empty() ? line.usb_port : line.serial, -1};
  const auto count = [&] {
    return std::count_if(all.begin(), all.end(), [&](const auto& other) { return matches(key, other); });
  };
  if (count() > 1) key.interface = line.usb_interface;
  if (count() > 1) key = {UsbKey::By::port, line.usb_port, -1};
  if (count() > 1) key.interface = line.usb_interface;
  return std::string(word(key.by)) + " = \"" + key.value + '"' +
         (key.interface >= 0 ? " and usb_interface = " + std::to_string(key.interface) : std::string());
}

Expected<FoundPort> UsbChoice::among(const std::vector<FoundPort>& lines, const std::string& port) {
  std::vector<FoundPort> found, others;
  for (const auto& line : lines) {
    if (matches(key_, line))
      found.push_back(line);
    else if (line.usb)
      others.push_back(line);
  }
  if (found.empty()) {
    const std::string there =
        others.empty() ? "no USB serial line is plugged in"
                       : "plugged in are: " + joined(others, [](const FoundPort& line) {
                           return place(line) + (line.serial.empty() ? " without a serial number"
                                                                     : " with serial " + line.serial);
                         });
    return fail("port_absent", "nothing is plugged in that is " + text(key_), "port " + port,
                "plug it in; it is taken up by itself when it comes. " + there);
  }
  if (found.size() > 1) {
    twins_seen_ = true;
    return ambiguous(std::to_string(found.size()) + " lines are " + text(key_) + ": " + joined(found, place) +
                         "; none is taken",
                     port, found);
  }
  if (twins_seen_ && !place_.empty() && found.front().usb_port != place_) {
    return ambiguous("two lines were " + text(key_) + ", and which one is left (" + place(found.front()) +
                         ") cannot be known; the one before was in socket " + place_,
                     port, found);
  }
  told_ = found.front().usb_port;
  return found.front();
}

Done only_of_its_name(const std::string& link, const std::string& node, const std::vector<FoundPort>& lines,
                      const std::string& port) {
  const auto at =
      std::find_if(lines.begin(), lines.end(), [&](const auto& line) { return line.node == node; });
  if (at == lines.end() || !at->usb) return {};
  std::vector<FoundPort> twins;
  std::copy_if(lines.begin(), lines.end(), std::back_inserter(twins), [&](const auto& line) {
    return line.usb && line.usb_port != at->usb_port && same_name(line, *at);
  });
  if (twins.empty()) return {};
  twins.insert(twins.begin(), *at);
  return ambiguous(std::to_string(twins.size()) + " adapters share the link " + link + ": " +
                       joined(twins, place) + "; none is taken",
                   port, twins);
}

}  // namespace tallystick::ports
