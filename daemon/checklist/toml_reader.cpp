#include "daemon/checklist/toml_reader.hpp"

#include <algorithm>

namespace tallystick::checklist {

int line_of(const toml::node& node) { return static_cast<int>(node.source().begin.line); }

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= 40 && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
  });
}

TomlText::TomlText(std::string_view toml, std::string file, std::vector<Fault>& faults)
    : toml_(toml), file_(std::move(file)), faults_(faults) {
  auto parsed = toml::parse(toml, std::string_view(file_));
  if (parsed) {
    root_ = std::move(parsed).table();
  } else {
    const auto& error = parsed.error();
    add(Severity::fault, static_cast<int>(error.source().begin.line), "", "not_toml",
        std::string(error.description()), "mend this line; what stands after it was not read");
  }
}

void TomlText::add(Severity severity, int line, std::string place, std::string code, std::string what,
                   std::string remedy) const {
  faults_.push_back(
      {severity, file_, line, std::move(place), std::move(code), std::move(what), std::move(remedy)});
}

std::string TomlText::written(const toml::node& node) const {
  const auto& source = node.source();
  std::size_t begin = 0;
  for (toml::source_index line = 1; line < source.begin.line; ++line) {
    begin = toml_.find('\n', begin);
    if (begin == std::string_view::npos) return {};
    ++begin;
  }
  // Columns count characters, which before a number are bytes but for texts in the same line: good enough for
  // a hint.
  begin += source.begin.column - 1;
  if (begin >= toml_.size()) return {};
  const auto end = toml_.find_first_of(",]} #\r\n\t", begin);
  return std::string(toml_.substr(begin, end == std::string_view::npos ? end : end - begin));
}

TomlTable::TomlTable(const TomlText& text, const toml::table& table, std::string place)
    : text_(text), table_(table), place_(std::move(place)) {}

int TomlTable::line(std::string_view key) const {
  const auto* node = table_.get(key);
  return node != nullptr ? line_of(*node) : line();
}

const toml::node* TomlTable::find(std::string_view key) {
  asked_.emplace_back(key);
  return table_.get(key);
}

void TomlTable::fault(std::string_view key, std::string code, std::string what, std::string remedy) const {
  std::string place = place_;
  if (!key.empty()) place += (place.empty() ? "" : ", ") + std::string(key);
  text_.add(Severity::fault, line(key), place, std::move(code), std::move(what), std::move(remedy));
}

void TomlTable::warn(std::string_view key, std::string code, std::string what, std::string remedy) const {
  std::string place = place_;
  if (!key.empty()) place += (place.empty() ? "" : ", ") + std::string(key);
  text_.add(Severity::warning, line(key), place, std::move(code), std::move(what), std::move(remedy));
}

void TomlTable::wrong_type(std::string_view key, const toml::node& node, const char* expected) const {
  std::string found = "something else";
  if (node.is_string()) found = "a text";
  if (node.is_number()) found = "a bare number";
  if (node.is_boolean()) found = "true or false";
  if (node.is_array()) found = "a list";
  if (node.is_table()) found = "a table";
  fault(key, "wrong_type", "found " + found + ", expected " + expected, "");
}

std::string TomlTable::text(std::string_view key, std::string otherwise) {
  const auto* node = find(key);
  if (node == nullptr) return otherwise;
  if (const auto value = node->value_exact<std::string>()) return *value;
  wrong_type(key, *node, "a text in quotes");
  return otherwise;
}

std::string TomlTable::needed_text(std::string_view key) {
  auto out = text(key);
  if (!has(key))
    fault("", "missing_key", "\"" + std::string(key) + "\" is missing",
          "add " + std::string(key) + " = \"...\"");
  else if (out.empty() && table_.get(key)->is_string())
    fault(key, "empty", "is empty", "fill it in");
  return out;
}

std::string TomlTable::word(std::string_view key, std::vector<std::string> words, std::string otherwise) {
  auto out = text(key, otherwise);
  if (out == otherwise || std::find(words.begin(), words.end(), out) != words.end()) return out;
  fault(key, "unknown_word", "\"" + out + "\" is not known here", did_you_mean(out, words));
  return otherwise;
}

std::string TomlTable::quoted(std::string_view key) {
  const auto* node = find(key);
  if (node == nullptr) return {};
  if (const auto value = node->value_exact<std::string>()) return *value;
  if (node->is_number()) {
    fault(key, "bare_number", "a bare number would pass through binary floating point before it is judged",
          "put it in quotes: " + std::string(key) + " = \"" + text_.written(*node) + "\"");
  } else {
    wrong_type(key, *node, "a text in quotes");
  }
  return {};
}

std::vector<std::string> TomlTable::texts(std::string_view key) {
  std::vector<std::string> out;
  const auto* node = find(key);
  if (node == nullptr) return out;
  if (!node->is_array()) {
    wrong_type(key, *node, "a list of texts: [\"...\", \"...\"]");
    return out;
  }
  for (const auto& item : *node->as_array()) {
    if (const auto value = item.value_exact<std::string>())
      out.push_back(*value);
    else
      wrong_type(key, item, "a text in quotes");
  }
  return out;
}

bool TomlTable::yes_or_no(std::string_view key, bool otherwise) {
  const auto* node = find(key);
  if (node == nullptr) return otherwise;
  if (const auto value = node->value_exact<bool>()) return *value;
  wrong_type(key, *node, "true or false");
  return otherwise;
}

int TomlTable::whole(std::string_view key, int least, int most, int otherwise) {
  const auto* node = find(key);
  if (node == nullptr) return otherwise;
  const auto value = node->value_exact<std::int64_t>();
  if (!value) {
    wrong_type(key, *node, "a whole number");
  } else if (*value < least || *value > most) {
    fault(key, "out_of_range", std::to_string(*value) + " is out of range",
          "from " + std::to_string(least) + " to " + std::to_string(most));
  } else {
    return static_cast<int>(*value);
  }
  return otherwise;
}

double TomlTable::number(std::string_view key, double least, double most, double otherwise) {
  const auto* node = find(key);
  if (node == nullptr) return otherwise;
  if (!node->is_number()) {
    wrong_type(key, *node, "a number");
    return otherwise;
  }
  const auto value = node->value<double>().value_or(otherwise);
  if (value >= least && value <= most) return value;  // false for nan
  fault(key, "out_of_range", text_.written(*node) + " is out of range",
        "from " + std::to_string(least) + " to " + std::to_string(most));
  return otherwise;
}

std::string TomlTable::id(std::string_view key) {
  auto out = needed_text(key);
  if (out.empty() || is_id(out)) return out;
  fault(key, "bad_id", "\"" + out + "\" cannot be an id", "use 1 to 40 small letters, digits and -");
  return {};
}

std::vector<const toml::table*> TomlTable::tables(std::string_view key) {
  std::vector<const toml::table*> out;
  const auto* node = find(key);
  if (node == nullptr) return out;
  if (const auto* one = node->as_table()) {
    fault(key, "wrong_type", "found one table", "write [[" + std::string(key) + "]], once for each");
    out.push_back(one);
  } else if (const auto* list = node->as_array()) {
    for (const auto& item : *list) {
      if (const auto* entry = item.as_table())
        out.push_back(entry);
      else
        wrong_type(key, item, "a table");
    }
  } else {
    wrong_type(key, *node, "tables");
  }
  return out;
}

const toml::table* TomlTable::table(std::string_view key) {
  const auto* node = find(key);
  if (node == nullptr || node->is_table()) return node == nullptr ? nullptr : node->as_table();
  wrong_type(key, *node, "a table");
  return nullptr;
}

void TomlTable::done() {
  for (const auto& [key, node] : table_) {
    const std::string name(key.str());
    if (std::find(asked_.begin(), asked_.end(), name) != asked_.end()) continue;
    const auto line = static_cast<int>(key.source().begin.line);
    text_.add(Severity::fault, line > 0 ? line : line_of(node), place_, "unknown_key",
              "unknown key \"" + name + "\"", did_you_mean(name, asked_));
  }
}

}  // namespace tallystick::checklist
