// What a key types: the characters of a keyboard layout. Gauges, scanners and badge readers that type are set
// to a layout, and the port's configuration says to which; nothing is guessed. Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace tallystick::decode {

/// What a key types with shift, AltGr or both held.
enum class KeyLevel : std::uint8_t { plain, shift, alt_graph, both };

/// UTF-8. A dead key types nothing until the next key: before a space it gives the `text` that it carries.
struct TypedText {
  std::string_view text;
  bool dead = false;
  bool nothing() const { return text.empty(); }
};

struct LayoutRow {
  std::uint16_t code = 0;
  TypedText plain{}, shift{}, alt_graph{};
};

/// A layout of the list; copies are cheap. The keypad types digits whatever Num Lock says: a device that
/// types numbers means numbers. Its decimal key types the comma in "de", else the point.
class KeyLayout {
 public:
  /// "us", "de", "fr"; empty: no such layout here.
  static std::optional<KeyLayout> named(std::string_view name);
  static const std::vector<std::string_view>& names();

  std::string_view name() const { return name_; }
  /// The right Alt key is AltGr; else it is a plain Alt.
  bool has_alt_graph() const { return alt_graph_; }
  /// Caps Lock turns plain and shift of letters round, of nothing else.
  TypedText typed(std::uint16_t code, KeyLevel level, bool caps) const;
  /// The rows of the main block, for tests against published layouts.
  std::span<const LayoutRow> rows() const { return rows_; }

 private:
  KeyLayout(std::string_view name, std::span<const LayoutRow> rows, bool alt_graph, std::string_view mark)
      : name_(name), rows_(rows), alt_graph_(alt_graph), keypad_mark_(mark) {}
  TypedText keypad(std::uint16_t code) const;

  std::string_view name_;
  std::span<const LayoutRow> rows_;
  bool alt_graph_;
  std::string_view keypad_mark_;
};

}  // namespace tallystick::decode
