// Reading one TOML table key by key, collecting every fault with its line instead of stopping at the first.
// Pure.
#pragma once

#include <toml++/toml.h>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/dialect.hpp"

namespace tallystick::decode {

/// The name nearest to `name` if it is near enough to be a slip of the finger; else empty.
std::string nearest(std::string_view name, const std::vector<std::string_view>& names);

/// One table of a file. Every key that is asked for counts as known; `finish` reports the others.
/// Where a value is wrong the fault is noted and the answer is empty, as if the key were not there.
class TomlFields {
 public:
  /// `path` is the table's name as people write it ("port"); empty for the root. `table` may be null
  /// (absent).
  TomlFields(const toml::table* table, std::string path, std::string_view file, Faults& faults,
             std::uint32_t line = 1);

  bool present() const { return table_ != nullptr; }
  bool has(std::string_view key);  ///< the key is there (and so known), right or wrong
  std::uint32_t line(std::string_view key = {}) const;

  std::optional<std::string> text(std::string_view key);
  /// Bytes: a text of ASCII characters, or { hex = "02 07" }.
  std::optional<std::string> bytes(std::string_view key);
  /// True where `bytes` would be read without a fault; notes none.
  bool bytes_are_read(std::string_view key);
  std::optional<std::int64_t> whole(std::string_view key, std::int64_t least, std::int64_t most);
  /// A whole or decimal number of milliseconds, as nanoseconds.
  std::optional<std::int64_t> milliseconds(std::string_view key, std::int64_t least_ms, std::int64_t most_ms);
  std::optional<bool> flag(std::string_view key);
  std::optional<std::string> word(std::string_view key, std::initializer_list<std::string_view> words);
  std::vector<std::string> texts(std::string_view key);
  /// key -> text of a sub-table of texts.
  std::vector<std::pair<std::string, std::string>> map(std::string_view key);
  /// key -> whole number of a sub-table of whole numbers.
  std::vector<std::pair<std::string, std::int64_t>> wholes(std::string_view key, std::int64_t least,
                                                           std::int64_t most);
  /// An inline table; reading it and calling finish() is the caller's.
  std::optional<TomlFields> table(std::string_view key);
  std::vector<TomlFields> tables(std::string_view key);

  void fault(std::string code, std::string what, std::string hint, std::string_view key = {});
  void finish();

 private:
  const toml::node* node(std::string_view key);
  std::string full(std::string_view key) const;
  void wrong_type(std::string_view key, const toml::node& found, std::string_view expected);

  const toml::table* table_;
  std::string path_;
  std::string file_;
  Faults* faults_;
  std::uint32_t line_;
  std::vector<std::string> known_;
};

}  // namespace tallystick::decode
