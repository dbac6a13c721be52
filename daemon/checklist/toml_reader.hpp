// Reads a table of a TOML text key by key and notes what is wrong with each: kind, line, remedy. Keys that
// nobody asked for are told at the end, with what they may have meant. (toml++ ends here: it never reaches a
// public header.)
#pragma once

#include <toml++/toml.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/checklist/fault.hpp"

namespace tallystick::checklist {

/// A TOML text and where its faults go.
class TomlText {
 public:
  TomlText(std::string_view toml, std::string file, std::vector<Fault>& faults);

  /// Null where the text is no TOML (a fault says so).
  const toml::table* root() const { return root_ ? &*root_ : nullptr; }
  const std::string& file() const { return file_; }
  void add(Severity severity, int line, std::string place, std::string code, std::string what,
           std::string remedy) const;
  /// Of faults and warnings so far.
  std::size_t count() const { return faults_.size(); }
  /// The value as written, for hints: `0.10`, not the double that it became.
  std::string written(const toml::node& node) const;

 private:
  std::string_view toml_;
  std::string file_;
  std::vector<Fault>& faults_;
  std::optional<toml::table> root_;
};

int line_of(const toml::node& node);

/// One table. `place` begins every fault ("feature bore"). Absent keys keep the default handed in.
class TomlTable {
 public:
  TomlTable(const TomlText& text, const toml::table& table, std::string place);

  bool has(std::string_view key) const { return table_.contains(key); }
  const TomlText& whole_text() const { return text_; }
  int line() const { return line_of(table_); }
  /// The key's own line, or the table's where it is absent.
  int line(std::string_view key) const;
  void rename(std::string place) { place_ = std::move(place); }

  std::string text(std::string_view key, std::string otherwise = {});
  /// A text that must be there and not be empty.
  std::string needed_text(std::string_view key);
  /// One of `words`.
  std::string word(std::string_view key, std::vector<std::string> words, std::string otherwise);
  /// A text that is judged: a bare number is a fault with the hint to quote it.
  std::string quoted(std::string_view key);
  std::vector<std::string> texts(std::string_view key);
  bool yes_or_no(std::string_view key, bool otherwise);
  int whole(std::string_view key, int least, int most, int otherwise);
  double number(std::string_view key, double least, double most, double otherwise);
  /// [a-z0-9-]{1,40}; "" (and a fault) where it is missing or something else.
  std::string id(std::string_view key);

  /// Sub-tables under `[[key]]`, or the one under `[key]`.
  std::vector<const toml::table*> tables(std::string_view key);
  const toml::table* table(std::string_view key);
  /// For keys that may be of several kinds; null where absent.
  const toml::node* node(std::string_view key) { return find(key); }

  void fault(std::string_view key, std::string code, std::string what, std::string remedy) const;
  void warn(std::string_view key, std::string code, std::string what, std::string remedy) const;
  /// Tells the keys that no call above asked for.
  void done();

 private:
  const toml::node* find(std::string_view key);
  void wrong_type(std::string_view key, const toml::node& node, const char* expected) const;

  const TomlText& text_;
  const toml::table& table_;
  std::string place_;
  std::vector<std::string> asked_;
};

bool is_id(std::string_view text);

}  // namespace tallystick::checklist
