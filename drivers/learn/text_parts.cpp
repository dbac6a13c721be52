#include "drivers/learn/text_parts.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <set>

namespace tallystick::learn {

namespace {

enum class Class : std::uint8_t { digits, letters, blanks, other };

Class class_of(char c) {
  const auto byte = static_cast<unsigned char>(c);
  if (c >= '0' && c <= '9') return Class::digits;
  if ((c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || byte >= 0x80) return Class::letters;
  return c == ' ' ? Class::blanks : Class::other;
}

/// The same place in every frame.
struct Column {
  Class kind = Class::other;
  std::vector<std::string> texts;
  bool constant() const {
    return std::ranges::all_of(texts, [&](const auto& text) { return text == texts.front(); });
  }
  bool one_width() const {
    return std::ranges::all_of(texts, [&](const auto& text) { return text.size() == texts.front().size(); });
  }
};

std::vector<std::pair<Class, std::string>> tokens_of(const std::string& text) {
  std::vector<std::pair<Class, std::string>> out;
  for (const char c : text) {
    const Class kind = class_of(c);
    if (out.empty() || out.back().first != kind || kind == Class::other) out.emplace_back(kind, "");
    out.back().second += c;
  }
  return out;
}

/// By kinds of characters, else place by place where all have the same width. Empty optional: they are not
/// alike.
std::optional<std::vector<Column>> columns_of(const std::vector<std::string>& texts) {
  std::vector<std::vector<std::pair<Class, std::string>>> all;
  for (const auto& text : texts) all.push_back(tokens_of(text));
  bool alike = true;
  for (const auto& each : all) {
    alike = alike && std::ranges::equal(
                         each, all.front(), {}, [](const auto& t) { return t.first; },
                         [](const auto& t) { return t.first; });
  }
  std::vector<Column> out;
  if (alike) {
    for (std::size_t i = 0; i < all.front().size(); ++i) {
      Column column{all.front()[i].first, {}};
      for (const auto& each : all) column.texts.push_back(each[i].second);
      out.push_back(std::move(column));
    }
    return out;
  }
  const std::size_t width = texts.front().size();
  if (std::ranges::any_of(texts, [&](const auto& text) { return text.size() != width; })) return std::nullopt;
  for (std::size_t i = 0; i < width; ++i) {
    Column column{Class::other, {}};
    for (const auto& text : texts) column.texts.emplace_back(1, text[i]);
    if (!out.empty() && out.back().constant() && column.constant()) {
      for (std::size_t k = 0; k < texts.size(); ++k) out.back().texts[k] += column.texts[k];
    } else {
      out.push_back(std::move(column));
    }
  }
  return out;
}

/// A map from the column's texts to what `of` says of each press, where there is one and it says two things
/// at least.
template <class Of>
std::map<std::string, std::string> explains(const Column& column, const std::vector<Known>& known, Of of) {
  std::map<std::string, std::string> out;
  std::set<std::string> meanings;
  for (std::size_t i = 0; i < known.size(); ++i) {
    const std::optional<std::string> meaning = of(known[i]);
    if (!meaning) return {};
    meanings.insert(*meaning);
    const auto [at, added] = out.emplace(column.texts[i], *meaning);
    if (!added && at->second != *meaning) return {};
  }
  return meanings.size() > 1 ? out : std::map<std::string, std::string>{};
}

/// A class of characters that all texts of the column keep to, with their widths.
std::string pattern_of(const Column& column) {
  const bool one = column.one_width();
  const std::string count = one ? "{" + std::to_string(column.texts.front().size()) + "}" : "+";
  const auto all = [&](auto is) {
    return std::ranges::all_of(column.texts, [&](const auto& text) { return std::ranges::all_of(text, is); });
  };
  if (all([](char c) { return c >= '0' && c <= '9'; })) return "\\d" + count;
  if (all([](char c) { return c >= 'A' && c <= 'Z'; })) return "[A-Z]" + count;
  if (all([](char c) { return c >= 'a' && c <= 'z'; })) return "[a-z]" + count;
  if (all([](char c) { return class_of(c) == Class::letters; })) return "[A-Za-z\\x80-\\xFF]" + count;
  return one ? "[ -~]" + count : std::string();
}

/// Of the texts that stand for units: ASCII, or with the two bytes of a micro or degree sign.
bool is_utf8(const std::string& text) {
  const bool ascii = std::ranges::all_of(text, [](char c) { return static_cast<unsigned char>(c) < 0x80; });
  return ascii || text.starts_with("\xC2");
}

bool is_sign(const std::string& text) { return text == "+" || text == "-" || text == " "; }

/// True where the column says '-' exactly in the frames of negative values.
bool tells_sign(const Column& column, const std::vector<Known>& known) {
  bool any = false;
  for (std::size_t i = 0; i < known.size(); ++i) {
    if (!is_sign(column.texts[i])) return false;
    if (known[i].zero()) continue;
    if ((column.texts[i] == "-") != known[i].negative()) return false;
    any = any || known[i].negative();
  }
  return any;
}

/// Goes up by one with each press, as a count of frames does.
bool counts_up(const Column& column) {
  if (column.kind != Class::digits || column.texts.size() < 3 || column.texts.front().size() > 9)
    return false;
  for (std::size_t i = 1; i < column.texts.size(); ++i) {
    if (column.texts[i].size() > 9) return false;
    const auto before = std::stoul(column.texts[i - 1]), now = std::stoul(column.texts[i]);
    if (now != before + 1 && !(now == 0 && before > 8)) return false;
  }
  return true;
}

/// A number of its own: digits, mark, digits, perhaps with a sign in front. Such a column is not taken,
/// whatever it says.
bool part_of_other_number(const std::vector<Column>& columns, std::size_t at) {
  const auto is_mark = [&](std::size_t i) {
    return i < columns.size() && columns[i].constant() &&
           (columns[i].texts.front() == "." || columns[i].texts.front() == ",");
  };
  const auto is_digits = [&](std::size_t i) {
    return i < columns.size() && columns[i].kind == Class::digits;
  };
  if (is_digits(at))
    return (is_mark(at + 1) && is_digits(at + 2)) || (at >= 2 && is_mark(at - 1) && is_digits(at - 2));
  const bool sign = std::ranges::all_of(columns[at].texts, is_sign);
  return sign && is_digits(at + 1) && is_mark(at + 2) && is_digits(at + 3);
}

std::optional<std::string> unit_shown(const Known& known) {
  if (!known.press->shown->unit) return std::nullopt;
  return std::string(known.press->shown->unit->name());
}

std::string shown_texts(const Column& column) {
  std::string out;
  for (const auto& text : std::set<std::string>(column.texts.begin(), column.texts.end()))
    out += (out.empty() ? "" : ", ") + quoted(text);
  return out;
}

/// Explains one column at a time, from left to right.
class Explainer {
 public:
  Explainer(const std::vector<Column>& columns, const std::vector<Known>& known, const Side& taken,
            bool sign_wanted, Shape& shape)
      : columns_(columns), known_(known), taken_(taken), sign_wanted_(sign_wanted), shape_(shape) {}

  Side all() {
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      if (!one(i)) {
        out_.unexplained = Remark{"unexplained", shown_texts(columns_[i])};
        return out_;
      }
    }
    return out_;
  }

 private:
  bool one(std::size_t at) {
    const Column& column = columns_[at];
    if (channel(column) || unit(column)) return true;
    if (column.constant()) {
      const bool blanks = column.kind == Class::blanks;
      out_.pattern += blanks ? " +" : escaped(column.texts.front());
      return true;
    }
    if (column.kind == Class::blanks) {
      out_.pattern += " +";
      return true;
    }
    if (sign_wanted_ && !out_.sign && tells_sign(column, known_)) {
      const bool blank = std::ranges::count(column.texts, " ") > 0;
      out_.pattern += blank ? "(?P<sign>[ +-])" : "(?P<sign>[+-])";
      return out_.sign = true;
    }
    if (status(column)) return true;
    if (part_of_other_number(columns_, at)) return other_number(column);
    if (counts_up(column)) {
      out_.pattern += pattern_of(column);
      shape_.comments.emplace_back("digits that go up by one with each frame are not taken");
      return true;
    }
    return false;
  }

  bool channel(const Column& column) {
    if (out_.channel || taken_.channel) return false;
    for (std::size_t i = 0; i < known_.size(); ++i) {
      if (known_[i].press->shown->channel != column.texts[i]) return false;
    }
    out_.pattern += "(?P<channel>" + pattern_of(column) + ")";
    return out_.channel = true;
  }

  bool unit(const Column& column) {
    if (out_.unit || taken_.unit) return false;
    auto map = explains(column, known_, unit_shown);
    if (map.empty() && column.constant()) {
      const std::string meant = unit_meant(column.texts.front());
      if (meant.empty()) return false;
      for (const auto& known : known_) {
        if (const auto shown = unit_shown(known); shown && *shown != meant) return false;
      }
      map.emplace(column.texts.front(), meant);
      shape_.unseen.push_back({"unit_key_not_seen", quoted(column.texts.front())});
    }
    if (map.empty()) return false;
    // A dialect's texts are UTF-8: another character set's micro or degree sign can only be demanded as it
    // is.
    if (std::ranges::any_of(map, [](const auto& entry) { return !is_utf8(entry.first); })) {
      if (map.size() > 1) return false;
      out_.pattern += escaped(map.begin()->first);
      shape_.unit = map.begin()->second;
      return out_.unit = true;
    }
    bool letters = true;
    for (const auto& [text, meaning] : map)
      letters = letters && !unit_meant(text).empty() && class_of(text[0]) == Class::letters;
    std::string words;
    for (const auto& [text, meaning] : map) words += (words.empty() ? "" : "|") + escaped(text);
    // Letters that are no unit yet known are refused as such; where a single sign tells the unit, only what
    // was seen.
    out_.pattern += "(?P<unit>" + (letters ? "[A-Za-z\\x80-\\xFF]+" : words) + ")";
    shape_.unit_map = std::move(map);
    return out_.unit = true;
  }

  bool status(const Column& column) {
    if (out_.status || taken_.status) return false;
    const auto map = explains(column, known_, [](const Known& known) -> std::optional<std::string> {
      return std::string(name(known.press->shown->status.value_or(GaugeStatus::ok)));
    });
    const std::string pattern = pattern_of(column);
    if (map.empty() || pattern.empty()) return false;
    out_.pattern += "(?P<status>" + pattern + ")";
    shape_.status_map = map;
    return out_.status = true;
  }

  bool other_number(const Column& column) {
    const bool sign = std::ranges::all_of(column.texts, is_sign);
    out_.pattern += sign ? "[ +-]" : pattern_of(column);
    const std::string comment = "a second number in the frame is not taken";
    if (std::ranges::count(shape_.comments, comment) == 0) shape_.comments.push_back(comment);
    return true;
  }

  const std::vector<Column>& columns_;
  const std::vector<Known>& known_;
  const Side& taken_;
  bool sign_wanted_;
  Shape& shape_;
  Side out_;
};

}  // namespace

std::string escaped(std::string_view text) {
  static constexpr std::string_view special = "\\.+*?()|[]{}^$";
  static constexpr char digits[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte > 0x7E || c == '\'') {
      out += "\\x";
      out += digits[byte >> 4U];
      out += digits[byte & 0xFU];
    } else {
      if (special.find(c) != std::string_view::npos) out += '\\';
      out += c;
    }
  }
  return out;
}

std::string unit_meant(std::string_view text) {
  // How units are usually written on a line; \xB5, \xE6 and \xC2\xB5 are the micro sign in three character
  // sets, \xB0 and \xF8 the degree sign in two (common practice, no source).
  static constexpr std::array<std::pair<std::string_view, std::string_view>, 20> usual{
      {{"mm", "mm"},   {"MM", "mm"},    {"Mm", "mm"},    {"in", "in"},        {"IN", "in"},
       {"In", "in"},   {"inch", "in"},  {"INCH", "in"},  {"\"", "in"},        {"um", "um"},
       {"UM", "um"},   {"\xB5m", "um"}, {"\xE6m", "um"}, {"\xC2\xB5m", "um"}, {"deg", "deg"},
       {"DEG", "deg"}, {"\xB0", "deg"}, {"\xF8", "deg"}, {"\xC2\xB0", "deg"}, {"N", ""}}};
  for (const auto& [written, unit] : usual) {
    if (written == text) return std::string(unit);
  }
  return {};
}

Side explain(const std::vector<std::string>& texts, const std::vector<Known>& known, const Side& taken,
             bool sign_wanted, Shape& shape) {
  const auto columns = columns_of(texts);
  if (!columns) {
    Side out;
    out.unexplained = Remark{"shape_varies", quoted(texts.front())};
    return out;
  }
  return Explainer(*columns, known, taken, sign_wanted, shape).all();
}

}  // namespace tallystick::learn
