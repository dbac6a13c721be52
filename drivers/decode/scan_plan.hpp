// Patterns that need no regular expression engine: a row of characters, character classes with repeats, named
// and optional groups, and choices of plain words, where the next byte alone tells what comes. They are
// compiled into a short list of operations that run over the bytes once. Whatever is not of that kind is left
// to RE2; where both can, they agree (tests/decode/scan_plan.cpp holds them against each other). Pure.
#pragma once

#include <array>
#include <bitset>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/fields.hpp"

namespace tallystick::decode {

using ByteSet = std::bitset<256>;

class ScanPlan {
 public:
  /// Empty where the pattern is not of the simple kind, or not a pattern at all.
  static std::optional<ScanPlan> compile(std::string_view pattern);

  /// True where the whole of `body` matches; then `fields` are filled.
  bool match(std::string_view body, Fields& fields) const;

  /// What the pattern is read into: one operation for each thing that stands in it.
  enum class Kind : std::uint8_t { run, words, open, close, maybe };
  struct Operation {
    Kind kind = Kind::run;
    Field field = Field::value;         ///< open, close
    std::uint32_t least = 1, most = 1;  ///< run
    ByteSet set{};                      ///< run: what may come; maybe: what the optional part begins with
    std::vector<std::string> words{};   ///< words: none begins with another
    std::size_t skip_to = 0;            ///< maybe: where to go on when it is absent
  };

 private:
  /// What is run over the bytes: marks are folded into the runs that they stand at, sets are tables.
  struct Step {
    Kind kind = Kind::run;
    bool one = false;                   ///< run: exactly one byte
    std::uint8_t opens = field_count;   ///< field that begins before it; field_count: none
    std::uint8_t closes = field_count;  ///< field that ends after it
    std::uint8_t skips = 0;             ///< maybe: how many steps to leave out
    std::uint32_t least = 1, most = 1;
    std::array<bool, 256> set{};
    std::vector<std::string> words{};
  };
  static std::vector<Step> folded(const std::vector<Operation>& operations);
  std::vector<Step> steps_;
};

}  // namespace tallystick::decode
