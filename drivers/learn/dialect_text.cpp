#include "drivers/learn/dialect_text.hpp"

#include <algorithm>

namespace tallystick::learn {

namespace {

/// A TOML text of ASCII characters, or { hex = "B5" }.
std::string toml_bytes(const std::string& bytes) {
  static constexpr char digits[] = "0123456789ABCDEF";
  const bool ascii = std::ranges::all_of(bytes, [](char c) { return static_cast<unsigned char>(c) < 0x7F; });
  if (!ascii) {
    std::string hex;
    for (const char c : bytes) {
      const auto byte = static_cast<unsigned char>(c);
      hex += (hex.empty() ? "" : " ") + std::string{digits[byte >> 4U], digits[byte & 0xFU]};
    }
    return "{ hex = \"" + hex + "\" }";
  }
  std::string out = "\"";
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '\r')
      out += "\\r";
    else if (c == '\n')
      out += "\\n";
    else if (c == '"' || c == '\\')
      out += std::string("\\") + c;
    else if (byte < 0x20)
      out += std::string("\\u00") + digits[byte >> 4U] + digits[byte & 0xFU];
    else
      out += c;
  }
  return out + "\"";
}

/// A text that may hold bytes outside ASCII, as a TOML key or value. Dialects compare bytes; TOML is UTF-8.
std::string toml_text(const std::string& text) {
  const bool ascii = std::ranges::all_of(text, [](char c) { return static_cast<unsigned char>(c) < 0x7F; });
  return ascii ? toml_bytes(text) : "\"" + text + "\"";
}

std::string toml_map(const std::map<std::string, std::string>& map) {
  std::string out;
  for (const auto& [key, value] : map)
    out += (out.empty() ? "" : ", ") + toml_text(key) + " = \"" + value + "\"";
  return "{ " + out + " }";
}

std::string port_section(const PortSettings& line) {
  static constexpr const char* parities[] = {"none", "even", "odd", "mark", "space"};
  return "[port]\nbaud = " + std::to_string(line.baud) + "\ndata_bits = " + std::to_string(line.data_bits) +
         "\nparity = \"" + parities[static_cast<std::size_t>(line.parity)] +
         "\"\nstop_bits = " + std::to_string(line.stop_bits) + "\n\n";
}

std::string frame_section(const Cut& cut, const std::optional<FoundCheck>& check) {
  std::string out = "[frame]\ncut_by = ";
  std::size_t longest = 0;
  for (std::size_t i = 0; i < cut.bodies.size(); ++i) longest = std::max(longest, cut.frame(i).size());
  switch (cut.by) {
    case CutBy::terminator:
      out += "\"terminator\"\nterminator = " + toml_bytes(cut.end) + "\n";
      break;
    case CutBy::start_end:
      out += "\"start_end\"\nstart = " + toml_bytes(cut.start) + "\nend = " + toml_bytes(cut.end) + "\n";
      if (check && check->checksum.after_end) out += "after_end = " + std::to_string(cut.after_end) + "\n";
      break;
    case CutBy::length:
      out += "\"length\"\nlength = " + std::to_string(cut.length) + "\n";
      if (!cut.start.empty()) out += "start = " + toml_bytes(cut.start) + "\n";
      if (!cut.end.empty()) out += "end = " + toml_bytes(cut.end) + "\n";
      return out + "\n";
    case CutBy::idle_gap:
    case CutBy::length_byte:
      out += "\"idle_gap\"          # nothing closes a frame but the silence behind it\n";
      break;
  }
  return out + "longest = " + std::to_string(std::max<std::size_t>(2 * longest, 16)) + "\n\n";
}

std::string value_section(const Shape& shape) {
  std::string out;
  if (!shape.pattern.empty()) out += "pattern = '''" + shape.pattern + "'''\n";
  if (shape.implied_decimals > 0)
    out += "implied_decimals = " + std::to_string(shape.implied_decimals) + "          # no mark is sent\n";
  if (!shape.decimals_by_unit.empty()) {
    std::string map;
    for (const auto& [unit, count] : shape.decimals_by_unit)
      map += (map.empty() ? "" : ", ") + unit + " = " + std::to_string(count);
    out += "decimals_by_unit = { " + map + " }   # no mark is sent\n";
  }
  if (shape.mark == ',') out += "decimal_mark = \",\"\n";
  if (shape.exponent) out += "exponent = true\n";
  return out.empty() ? out : "[value]\n" + out + "\n";
}

std::string check_section(const FoundCheck& check) {
  const auto& checksum = check.checksum;
  std::string out = "[checksum]\nkind = \"" + check.kind + "\"\nwritten = \"" +
                    (checksum.written_as_hex ? "hex" : "raw") + "\"\n";
  if (checksum.bits() > 8)
    out += std::string("byte_order = \"") + (checksum.low_byte_first ? "low_first" : "high_first") + "\"\n";
  if (checksum.after_end) out += "place = \"after_end\"\n";
  if (!checksum.marked_by.empty()) out += "marked_by = " + toml_bytes(checksum.marked_by) + "\n";
  if (checksum.covers_start) out += "covers_start = true\n";
  if (checksum.covers_end) out += "covers_end = true\n";
  return out + "\n";
}

}  // namespace

std::string dialect_text(const Naming& naming, const View& view, const Cut& cut,
                         const std::optional<FoundCheck>& check, const Shape& shape) {
  std::string out = "# Learned" + (naming.date.empty() ? "" : " on " + naming.date) + " from " +
                    std::to_string(view.presses.size()) + " presses heard at " + settings_text(view.line) +
                    ". Each of them is read as its display showed it.\n";
  for (const auto& press : view.presses) {
    if (!press.shown) continue;
    std::string bytes = readable(press.bytes());
    if (bytes.size() > 90) {
      bytes.resize(87);
      bytes += "...";
    }
    out += "#   " + bytes + "   shown: " + press.shown_text + "\n";
  }
  for (const auto& remark : shape.unseen) out += "# Not seen: " + remark_text(remark) + "\n";
  for (const auto& comment : shape.comments) out += "# Not taken: " + comment + ".\n";
  out += "name = \"" + naming.name +
         "\"\nabout = \"Learned from what the gauge sent: see the remarks above\"\n\n";
  out += port_section(view.line) + frame_section(cut, check);
  if (!shape.binary.empty()) {
    out += "[binary]                      # bytes are counted from 1 at the first one behind the start\n";
    for (const auto& line : shape.binary) out += line + "\n";
    out += "\n";
  }
  out += value_section(shape);
  out += "[unit]\n";
  if (!shape.unit_map.empty())
    out += "in_frame = true\nmap = " + toml_map(shape.unit_map) + "\n\n";
  else
    out += "unit = \"" + shape.unit.value_or("mm") + "\"\n\n";
  if (!shape.status_map.empty()) out += "[status]\nmap = " + toml_map(shape.status_map) + "\n\n";
  if (check) out += check_section(*check);
  return out + "[talk]\nspeaks = \"" + (cut.streams ? "streams" : "pushed") + "\"\n";
}

}  // namespace tallystick::learn
