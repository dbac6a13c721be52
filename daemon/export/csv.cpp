#include "daemon/export/csv.hpp"

#include <array>
#include <cstddef>
#include <cstdint>

namespace tallystick::exporting {
namespace {

// What a byte asks of the cell that it stands in. One pass over the bytes ORs these together.
enum : std::uint8_t {
  quote = 1,  // RFC 4180: the cell goes into quotes
  place = 2,  // a cell may begin behind it
  risky = 4,  // could begin a formula, or hide one's beginning
};

constexpr std::array<std::uint8_t, 256> table = [] {
  std::array<std::uint8_t, 256> out{};
  for (const char letter : {'=', '+', '-', '@', '\t', '\r', '\n', ' ', '"', '\'', '\xef', '\xc2'})
    out[static_cast<unsigned char>(letter)] |= risky;
  for (std::size_t control = 0; control < 0x20; ++control) out[control] |= quote;
  for (const char letter : {'"', ','}) out[static_cast<unsigned char>(letter)] |= quote;
  for (const char letter : {';', '\t', '\r', '\n'}) out[static_cast<unsigned char>(letter)] |= place;
  return out;
}();

std::uint8_t asks(char letter) { return table[static_cast<unsigned char>(letter)]; }

constexpr std::string_view no_break_blank = "\xc2\xa0";

// Looks no further than the next place: what stands there is looked at when its turn comes.
bool begins_formula(std::string_view rest) {
  for (;;) {
    if (rest.starts_with(no_break_blank)) {
      rest.remove_prefix(no_break_blank.size());
    } else if (!rest.empty() && (rest.front() == '"' || rest.front() == ' ')) {
      rest.remove_prefix(1);
    } else {
      break;
    }
  }
  if (rest.empty()) return false;
  if (std::string_view("=+-@\t\r").find(rest.front()) != std::string_view::npos) return true;
  for (const std::string_view wide : {"\xef\xbc\x9d", "\xef\xbc\x8b", "\xef\xbc\x8d", "\xef\xbc\xa0"})
    if (rest.starts_with(wide)) return true;
  return false;
}

void append_quoted(std::string& out, std::string_view cell) {
  out += '"';
  for (;;) {
    const auto at = cell.find('"');
    if (at == std::string_view::npos) break;
    out.append(cell, 0, at + 1);
    out += '"';
    cell.remove_prefix(at + 1);
  }
  out.append(cell);
  out += '"';
}

}  // namespace

bool is_decimal(std::string_view cell) {
  if (cell.starts_with('-')) cell.remove_prefix(1);
  const auto digits = [&cell] {
    std::size_t count = 0;
    while (count < cell.size() && cell[count] >= '0' && cell[count] <= '9') ++count;
    cell.remove_prefix(count);
    return count != 0;
  };
  if (!digits()) return false;
  if (cell.empty()) return true;
  if (cell.front() != '.') return false;
  cell.remove_prefix(1);
  return digits() && cell.empty();
}

std::string harmless(std::string_view cell) {
  if (is_decimal(cell)) return std::string(cell);
  std::string out;
  out.reserve(cell.size() + 2);
  bool at_place = true;
  for (std::size_t index = 0; index < cell.size(); ++index) {
    const char letter = cell[index];
    if (at_place && (letter == '\'' || begins_formula(cell.substr(index)))) out += '\'';
    out += letter;
    at_place = (asks(letter) & place) != 0;
  }
  return out;
}

std::string plain(std::string_view cell) {
  std::string out;
  out.reserve(cell.size());
  bool at_place = true;
  for (const char letter : cell) {
    if (at_place && letter == '\'') {
      at_place = false;
      continue;
    }
    out += letter;
    at_place = (asks(letter) & place) != 0;
  }
  return out;
}

void append_cell(std::string& out, std::string_view cell) {
  if (cell.empty()) return;
  std::uint8_t asked = 0;
  for (const char letter : cell) asked |= asks(letter);
  // Nearly every cell: nothing to quote, no second place, and a harmless beginning.
  if ((asked & (quote | place)) == 0 && (asks(cell.front()) & risky) == 0) {
    out.append(cell);
    return;
  }
  if ((asked & place) == 0 && (asks(cell.front()) & risky) == 0) {
    append_quoted(out, cell);
    return;
  }
  if ((asked & quote) != 0) {
    append_quoted(out, harmless(cell));
  } else {
    out += harmless(cell);
  }
}

}  // namespace tallystick::exporting
