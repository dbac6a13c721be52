#include "drivers/decode/toml_fields.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

#include "drivers/decode/replay_log.hpp"

namespace tallystick::decode {

namespace {

/// Slips of the finger between two words: a character too many, missing, another, or two of them swapped.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1), above, above_that;
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    above_that = std::exchange(above, row);
    row[0] = i + 1;
    for (std::size_t j = 0; j < b.size(); ++j) {
      row[j + 1] = std::min({above[j] + (a[i] == b[j] ? 0U : 1U), row[j] + 1, above[j + 1] + 1});
      const bool swapped = i > 0 && j > 0 && a[i] == b[j - 1] && a[i - 1] == b[j];
      if (swapped) row[j + 1] = std::min(row[j + 1], above_that[j - 1] + 1);
    }
  }
  return row.back();
}

std::string_view kind_of(const toml::node& node) {
  if (node.is_string()) return "a text";
  if (node.is_integer()) return "a whole number";
  if (node.is_floating_point()) return "a number";
  if (node.is_boolean()) return "true or false";
  if (node.is_array()) return "a list";
  if (node.is_table()) return "a table";
  return "a date or time";
}

std::string joined(std::initializer_list<std::string_view> words) {
  std::string out;
  for (const auto word : words) out += (out.empty() ? "" : ", ") + std::string(word);
  return out;
}

}  // namespace

std::string nearest(std::string_view name, const std::vector<std::string_view>& names) {
  std::string best;
  std::size_t least = name.size() < 5 ? 2 : 3;  // must be nearer than this
  for (const auto candidate : names) {
    const auto d = distance(name, candidate);
    if (d < least) {
      least = d;
      best = candidate;
    }
  }
  return best;
}

TomlFields::TomlFields(const toml::table* table, std::string path, std::string_view file, Faults& faults,
                       std::uint32_t line)
    : table_(table), path_(std::move(path)), file_(file), faults_(&faults), line_(line) {
  if (table_ != nullptr && table_->source().begin.line > 0) line_ = table_->source().begin.line;
}

std::string TomlFields::full(std::string_view key) const {
  return path_.empty() ? std::string(key) : path_ + "." + std::string(key);
}

const toml::node* TomlFields::node(std::string_view key) {
  if (std::find(known_.begin(), known_.end(), key) == known_.end()) known_.emplace_back(key);
  return table_ == nullptr ? nullptr : table_->get(key);
}

bool TomlFields::has(std::string_view key) { return node(key) != nullptr; }

std::uint32_t TomlFields::line(std::string_view key) const {
  if (table_ == nullptr || key.empty()) return line_;
  const auto found = table_->find(key);
  return found == table_->end() ? line_ : found->first.source().begin.line;
}

void TomlFields::fault(std::string code, std::string what, std::string hint, std::string_view key) {
  faults_->push_back(
      {std::move(code), std::move(what), file_ + ":" + std::to_string(line(key)), std::move(hint)});
}

void TomlFields::wrong_type(std::string_view key, const toml::node& found, std::string_view expected) {
  fault("wrong_type",
        full(key) + " is " + std::string(kind_of(found)) + ", expected " + std::string(expected),
        "write it as " + std::string(expected), key);
}

std::optional<std::string> TomlFields::text(std::string_view key) {
  const auto* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (!found->is_string()) {
    wrong_type(key, *found, "a quoted text");
    return std::nullopt;
  }
  return found->as_string()->get();
}

std::optional<std::string> TomlFields::bytes(std::string_view key) {
  const auto* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (const auto* inline_table = found->as_table()) {
    TomlFields fields(inline_table, full(key), file_, *faults_, line(key));
    const auto hex = fields.text("hex");
    fields.finish();
    const auto out = hex ? bytes_of_hex(*hex) : std::nullopt;
    if (!out)
      fault("wrong_value", full(key) + " holds no hex bytes", "write { hex = \"02 07\" }, two digits a byte",
            key);
    return out;
  }
  const auto out = text(key);
  if (out &&
      std::any_of(out->begin(), out->end(), [](char c) { return static_cast<unsigned char>(c) >= 0x80; })) {
    fault("wrong_value", full(key) + " holds characters outside ASCII",
          "write such bytes as { hex = \"B5\" }", key);
    return std::nullopt;
  }
  return out;
}

bool TomlFields::bytes_are_read(std::string_view key) {
  Faults unseen;
  TomlFields same(table_, path_, file_, unseen, line_);
  return same.bytes(key).has_value();
}

std::optional<std::int64_t> TomlFields::whole(std::string_view key, std::int64_t least, std::int64_t most) {
  const auto* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (!found->is_integer()) {
    wrong_type(key, *found, "a whole number");
    return std::nullopt;
  }
  const std::int64_t value = found->as_integer()->get();
  if (value < least || value > most) {
    fault("wrong_value", full(key) + " is " + std::to_string(value),
          "it must lie between " + std::to_string(least) + " and " + std::to_string(most), key);
    return std::nullopt;
  }
  return value;
}

std::optional<std::int64_t> TomlFields::milliseconds(std::string_view key, std::int64_t least_ms,
                                                     std::int64_t most_ms) {
  const auto* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (!found->is_integer() && !found->is_floating_point()) {
    wrong_type(key, *found, "a number of milliseconds");
    return std::nullopt;
  }
  const double value = found->is_integer() ? static_cast<double>(found->as_integer()->get())
                                           : found->as_floating_point()->get();
  if (!(value >= static_cast<double>(least_ms) && value <= static_cast<double>(most_ms))) {
    fault("wrong_value", full(key) + " is " + std::to_string(value) + " ms",
          "it must lie between " + std::to_string(least_ms) + " and " + std::to_string(most_ms) + " ms", key);
    return std::nullopt;
  }
  return std::llround(value * 1e6);
}

std::optional<bool> TomlFields::flag(std::string_view key) {
  const auto* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (!found->is_boolean()) {
    wrong_type(key, *found, "true or false");
    return std::nullopt;
  }
  return found->as_boolean()->get();
}

std::optional<std::string> TomlFields::word(std::string_view key,
                                            std::initializer_list<std::string_view> words) {
  auto value = text(key);
  if (!value) return std::nullopt;
  if (std::find(words.begin(), words.end(), *value) != words.end()) return value;
  const auto meant = nearest(*value, {words.begin(), words.end()});
  fault("wrong_value", full(key) + " is \"" + *value + "\", expected one of: " + joined(words),
        meant.empty() ? "choose one of them" : "did you mean \"" + meant + "\"?", key);
  return std::nullopt;
}

std::vector<std::string> TomlFields::texts(std::string_view key) {
  std::vector<std::string> out;
  const auto* found = node(key);
  if (found == nullptr) return out;
  const auto* list = found->as_array();
  if (list == nullptr) {
    wrong_type(key, *found, "a list of quoted texts");
    return out;
  }
  for (const auto& item : *list) {
    if (item.is_string())
      out.push_back(item.as_string()->get());
    else
      wrong_type(key, item, "a list of quoted texts");
  }
  return out;
}

std::vector<std::pair<std::string, std::string>> TomlFields::map(std::string_view key) {
  std::vector<std::pair<std::string, std::string>> out;
  const auto* found = node(key);
  if (found == nullptr) return out;
  const auto* entries = found->as_table();
  if (entries == nullptr) {
    wrong_type(key, *found, "a table such as { \"A\" = \"ok\" }");
    return out;
  }
  for (const auto& [name, value] : *entries) {
    if (value.is_string())
      out.emplace_back(std::string(name.str()), value.as_string()->get());
    else
      wrong_type(key, value, "a table of quoted texts");
  }
  return out;
}

std::vector<std::pair<std::string, std::int64_t>> TomlFields::wholes(std::string_view key, std::int64_t least,
                                                                     std::int64_t most) {
  std::vector<std::pair<std::string, std::int64_t>> out;
  auto entries = table(key);
  if (!entries) return out;
  for (const auto& [name, value] : *entries->table_) {
    if (const auto number = entries->whole(name.str(), least, most)) out.emplace_back(name.str(), *number);
  }
  return out;
}

std::optional<TomlFields> TomlFields::table(std::string_view key) {
  const auto* found = node(key);
  if (found == nullptr) return std::nullopt;
  if (!found->is_table()) {
    wrong_type(key, *found, "a table");
    return std::nullopt;
  }
  return TomlFields(found->as_table(), full(key), file_, *faults_, line(key));
}

std::vector<TomlFields> TomlFields::tables(std::string_view key) {
  std::vector<TomlFields> out;
  const auto* found = node(key);
  if (found == nullptr) return out;
  const auto* list = found->as_array();
  if (list == nullptr) {
    wrong_type(key, *found, "a list of tables");
    return out;
  }
  for (const auto& item : *list) {
    if (item.is_table())
      out.emplace_back(item.as_table(), full(key), file_, *faults_, line(key));
    else
      wrong_type(key, item, "a list of tables");
  }
  return out;
}

void TomlFields::finish() {
  if (table_ == nullptr) return;
  const std::vector<std::string_view> known(known_.begin(), known_.end());
  for (const auto& [name, value] : *table_) {
    const std::string key(name.str());
    if (std::find(known.begin(), known.end(), key) != known.end()) continue;
    const auto meant = nearest(key, known);
    std::string all;
    for (const auto k : known) all += (all.empty() ? "" : ", ") + std::string(k);
    fault("unknown_key", "unknown key \"" + full(key) + "\"",
          meant.empty() ? "the keys here are: " + all : "did you mean \"" + meant + "\"?", key);
  }
}

}  // namespace tallystick::decode
