#include "drivers/decode/key_layout.hpp"

#include <algorithm>
#include <array>

#include "drivers/decode/key_names.hpp"

namespace tallystick::decode {
namespace {

constexpr TypedText text(std::string_view typed) { return {typed, false}; }
constexpr TypedText dead(std::string_view alone) { return {alone, true}; }

// Key by key in the order of the kernel's numbers: number row, letters, the key between left shift and its
// letter (86). Plain, with shift, with AltGr. tests/decode holds every line against the layouts that
// xkeyboard-config publishes. What a layout has beyond this (AltGr signs that no gauge or scanner types) is
// left out and refused.

constexpr auto us_rows = std::to_array<LayoutRow>({
    {2, text("1"), text("!")},   {3, text("2"), text("@")},   {4, text("3"), text("#")},
    {5, text("4"), text("$")},   {6, text("5"), text("%")},   {7, text("6"), text("^")},
    {8, text("7"), text("&")},   {9, text("8"), text("*")},   {10, text("9"), text("(")},
    {11, text("0"), text(")")},  {12, text("-"), text("_")},  {13, text("="), text("+")},
    {16, text("q"), text("Q")},  {17, text("w"), text("W")},  {18, text("e"), text("E")},
    {19, text("r"), text("R")},  {20, text("t"), text("T")},  {21, text("y"), text("Y")},
    {22, text("u"), text("U")},  {23, text("i"), text("I")},  {24, text("o"), text("O")},
    {25, text("p"), text("P")},  {26, text("["), text("{")},  {27, text("]"), text("}")},
    {30, text("a"), text("A")},  {31, text("s"), text("S")},  {32, text("d"), text("D")},
    {33, text("f"), text("F")},  {34, text("g"), text("G")},  {35, text("h"), text("H")},
    {36, text("j"), text("J")},  {37, text("k"), text("K")},  {38, text("l"), text("L")},
    {39, text(";"), text(":")},  {40, text("'"), text("\"")}, {41, text("`"), text("~")},
    {43, text("\\"), text("|")}, {44, text("z"), text("Z")},  {45, text("x"), text("X")},
    {46, text("c"), text("C")},  {47, text("v"), text("V")},  {48, text("b"), text("B")},
    {49, text("n"), text("N")},  {50, text("m"), text("M")},  {51, text(","), text("<")},
    {52, text("."), text(">")},  {53, text("/"), text("?")},  {86, text("<"), text(">")},
});

constexpr auto de_rows = std::to_array<LayoutRow>({
    {2, text("1"), text("!")},
    {3, text("2"), text("\""), text("²")},
    {4, text("3"), text("§"), text("³")},
    {5, text("4"), text("$")},
    {6, text("5"), text("%")},
    {7, text("6"), text("&")},
    {8, text("7"), text("/"), text("{")},
    {9, text("8"), text("("), text("[")},
    {10, text("9"), text(")"), text("]")},
    {11, text("0"), text("="), text("}")},
    {12, text("ß"), text("?"), text("\\")},
    {13, dead("´"), dead("`")},
    {16, text("q"), text("Q"), text("@")},
    {17, text("w"), text("W")},
    {18, text("e"), text("E"), text("€")},
    {19, text("r"), text("R")},
    {20, text("t"), text("T")},
    {21, text("z"), text("Z")},
    {22, text("u"), text("U")},
    {23, text("i"), text("I")},
    {24, text("o"), text("O")},
    {25, text("p"), text("P")},
    {26, text("ü"), text("Ü")},
    {27, text("+"), text("*"), text("~")},
    {30, text("a"), text("A")},
    {31, text("s"), text("S")},
    {32, text("d"), text("D")},
    {33, text("f"), text("F")},
    {34, text("g"), text("G")},
    {35, text("h"), text("H")},
    {36, text("j"), text("J")},
    {37, text("k"), text("K")},
    {38, text("l"), text("L")},
    {39, text("ö"), text("Ö")},
    {40, text("ä"), text("Ä")},
    {41, dead("^"), text("°")},
    {43, text("#"), text("'")},
    {44, text("y"), text("Y")},
    {45, text("x"), text("X")},
    {46, text("c"), text("C")},
    {47, text("v"), text("V")},
    {48, text("b"), text("B")},
    {49, text("n"), text("N")},
    {50, text("m"), text("M"), text("µ")},
    {51, text(","), text(";")},
    {52, text("."), text(":")},
    {53, text("-"), text("_")},
    {86, text("<"), text(">"), text("|")},
});

constexpr auto fr_rows = std::to_array<LayoutRow>({
    {2, text("&"), text("1")},
    {3, text("é"), text("2"), text("~")},
    {4, text("\""), text("3"), text("#")},
    {5, text("'"), text("4"), text("{")},
    {6, text("("), text("5"), text("[")},
    {7, text("-"), text("6"), text("|")},
    {8, text("è"), text("7"), text("`")},
    {9, text("_"), text("8"), text("\\")},
    {10, text("ç"), text("9"), text("^")},
    {11, text("à"), text("0"), text("@")},
    {12, text(")"), text("°"), text("]")},
    {13, text("="), text("+"), text("}")},
    {16, text("a"), text("A")},
    {17, text("z"), text("Z")},
    {18, text("e"), text("E"), text("€")},
    {19, text("r"), text("R")},
    {20, text("t"), text("T")},
    {21, text("y"), text("Y")},
    {22, text("u"), text("U")},
    {23, text("i"), text("I")},
    {24, text("o"), text("O")},
    {25, text("p"), text("P")},
    {26, dead("^"), dead("¨")},
    {27, text("$"), text("£"), text("¤")},
    {30, text("q"), text("Q")},
    {31, text("s"), text("S")},
    {32, text("d"), text("D")},
    {33, text("f"), text("F")},
    {34, text("g"), text("G")},
    {35, text("h"), text("H")},
    {36, text("j"), text("J")},
    {37, text("k"), text("K")},
    {38, text("l"), text("L")},
    {39, text("m"), text("M"), text("µ")},
    {40, text("ù"), text("%")},
    {41, text("²"), text("~")},
    {43, text("*"), text("µ")},
    {44, text("w"), text("W")},
    {45, text("x"), text("X")},
    {46, text("c"), text("C")},
    {47, text("v"), text("V")},
    {48, text("b"), text("B")},
    {49, text("n"), text("N")},
    {50, text(","), text("?")},
    {51, text(";"), text(".")},
    {52, text(":"), text("/")},
    {53, text("!"), text("§")},
    {86, text("<"), text(">")},
});

/// True for letters with their capital on shift: a to z, and the two-byte letters of Latin-1.
bool is_capital_of(std::string_view capital, std::string_view small) {
  if (capital.size() != small.size() || small.empty() || small.size() > 2) return false;
  if (small.size() == 2 && (small[0] != '\xC3' || capital[0] != '\xC3')) return false;
  const auto of = [](char c) { return static_cast<unsigned char>(c); };
  const bool letter = small.size() == 2 || (small[0] >= 'a' && small[0] <= 'z');
  return letter && of(small.back()) == of(capital.back()) + 0x20U;
}

}  // namespace

const std::vector<std::string_view>& KeyLayout::names() {
  static const std::vector<std::string_view> all = {"us", "de", "fr"};
  return all;
}

std::optional<KeyLayout> KeyLayout::named(std::string_view name) {
  if (name == "us") return KeyLayout("us", us_rows, false, ".");
  if (name == "de") return KeyLayout("de", de_rows, true, ",");
  if (name == "fr") return KeyLayout("fr", fr_rows, true, ".");
  return std::nullopt;
}

TypedText KeyLayout::keypad(std::uint16_t code) const {
  static constexpr std::array<std::string_view, 13> block = {"7", "8", "9", "-", "4", "5", "6",
                                                             "+", "1", "2", "3", "0", ""};
  if (code >= key::keypad_seven && code < key::keypad_seven + block.size()) {
    const auto at = static_cast<std::size_t>(code - key::keypad_seven);
    return text(at + 1 == block.size() ? keypad_mark_ : block[at]);
  }
  switch (code) {
    case 55:
      return text("*");
    case 98:
      return text("/");
    case 117:
      return text("=");
    case 121:
      return text(",");
    case 179:
      return text("(");
    case 180:
      return text(")");
    default:
      return {};
  }
}

TypedText KeyLayout::typed(std::uint16_t code, KeyLevel level, bool caps) const {
  if (code == key::space)
    return level == KeyLevel::plain || level == KeyLevel::shift ? text(" ") : TypedText{};
  const auto row =
      std::find_if(rows_.begin(), rows_.end(), [&](const LayoutRow& one) { return one.code == code; });
  if (row == rows_.end()) return keypad(code);
  const bool turned = caps && is_capital_of(row->shift.text, row->plain.text);
  switch (level) {
    case KeyLevel::plain:
      return turned ? row->shift : row->plain;
    case KeyLevel::shift:
      return turned ? row->plain : row->shift;
    case KeyLevel::alt_graph:
      return row->alt_graph;
    case KeyLevel::both:
      return {};
  }
  return {};
}

}  // namespace tallystick::decode
