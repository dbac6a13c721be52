#include "daemon/checklist/size_table.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <set>

namespace tallystick::checklist {
namespace {

/// One pass over the bytes; `line_` counts LF.
class CsvReader {
 public:
  explicit CsvReader(std::string_view text) : text_(text) {
    if (text_.starts_with("\xEF\xBB\xBF")) text_.remove_prefix(3);
  }

  Expected<std::vector<CsvRow>> all() {
    std::vector<CsvRow> rows;
    while (at_ < text_.size()) {
      CsvRow row{line_, {}};
      do {
        auto field = one_field();
        if (!field) return tl::unexpected(field.error());
        row.fields.push_back(std::move(*field));
      } while (take(','));
      if (at_ < text_.size() && !take_line_end()) return wrong("text after a closing quote");
      rows.push_back(std::move(row));
    }
    return rows;
  }

 private:
  tl::unexpected<Error> wrong(const std::string& what, int line = 0) const {
    return fail("csv", what, std::to_string(line > 0 ? line : line_),
                "put a field that holds a comma, a quote or a line break in quotes, and double its quotes");
  }
  bool take(char c) {
    if (at_ >= text_.size() || text_[at_] != c) return false;
    ++at_;
    return true;
  }
  bool take_line_end() {
    const auto begin = at_;
    if (take('\r') && !(at_ < text_.size() && text_[at_] == '\n')) at_ = begin;
    if (!take('\n')) return false;
    ++line_;
    return true;
  }
  Expected<std::string> one_field() { return take('"') ? in_quotes() : bare(); }

  Expected<std::string> bare() {
    std::string out;
    while (at_ < text_.size() && text_[at_] != ',' && text_[at_] != '\n') {
      const char c = text_[at_];
      if (c == '\r') {
        if (at_ + 1 < text_.size() && text_[at_ + 1] == '\n') break;
        return wrong("a carriage return inside a field without quotes");
      }
      if (c == '"') return wrong("a quote inside a field that does not begin with one");
      if (c == '\0') return wrong("a NUL byte");
      out += c;
      ++at_;
    }
    return out;
  }
  Expected<std::string> in_quotes() {
    const int begin = line_;
    std::string out;
    while (at_ < text_.size()) {
      const char c = text_[at_++];
      if (c == '"' && !take('"')) return out;
      if (c == '\0') return wrong("a NUL byte");
      if (c == '\n') ++line_;
      out += c;
    }
    return wrong("a quote that is never closed", begin);
  }

  std::string_view text_;
  std::size_t at_ = 0;
  int line_ = 1;
};

bool is_column_name(std::string_view name) {
  const auto lower = [](char c) { return c >= 'a' && c <= 'z'; };
  return !name.empty() && name.size() <= 40 && lower(name.front()) &&
         std::all_of(name.begin(), name.end(),
                     [&](char c) { return lower(c) || (c >= '0' && c <= '9') || c == '_'; });
}

bool is_size(std::string_view name) {
  return !name.empty() && name.size() <= 40 && std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-';
  });
}

std::string lower_case(std::string text) {
  for (auto& c : text)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return text;
}

constexpr std::array key_columns{"size", "print_revision", "part_number"};

class TableReader {
 public:
  TableReader(const std::string& file, std::vector<Fault>& faults) : file_(file), faults_(faults) {}

  SizeTable read(std::string_view csv) {
    auto rows = read_csv(csv);
    if (!rows) {
      const auto& error = rows.error();
      add(std::stoi(error.where), "", error.code, error.what, error.hint);
      return {};
    }
    if (rows->empty()) {
      add(1, "", "empty_table", "the size table is empty",
          "its first line names the columns: size,print_revision,part_number,...");
      return {};
    }
    header(rows->front());
    for (std::size_t i = 1; i < rows->size(); ++i) row((*rows)[i]);
    if (rows->size() == 1) add(1, "", "no_sizes", "the size table has no row", "add one row a size");
    return std::move(table_);
  }

 private:
  void add(int line, std::string place, std::string code, std::string what, std::string remedy) {
    faults_.push_back({Severity::fault, file_, line, std::move(place), std::move(code), std::move(what),
                       std::move(remedy)});
  }

  void header(const CsvRow& row) {
    table_.columns = row.fields;
    std::set<std::string> seen;
    for (const auto& column : row.fields) {
      if (!is_column_name(column))
        add(row.line, "column " + column, "column_name", "\"" + column + "\" is no column name",
            "use small letters, digits and _, beginning with a letter");
      else if (!seen.insert(column).second)
        add(row.line, "column " + column, "double_column", "column \"" + column + "\" stands twice",
            "give each its own name");
    }
    for (const auto* key : key_columns)
      if (!seen.contains(key)) {
        const auto meant = nearest(key, row.fields);
        add(row.line, std::string("column ") + key, "missing_column",
            std::string("there is no column \"") + key + "\"",
            meant.empty() ? "add it" : "is \"" + meant + "\" meant for it?");
      }
  }

  const std::string& at(const CsvRow& row, std::string_view column) const {
    static const std::string none;
    const auto found = std::find(table_.columns.begin(), table_.columns.end(), column);
    return found == table_.columns.end()
               ? none
               : row.fields[static_cast<std::size_t>(found - table_.columns.begin())];
  }

  void row(const CsvRow& row) {
    if (row.fields.size() != table_.columns.size()) {
      add(row.line, "", "row_width",
          "the row has " + std::to_string(row.fields.size()) + " fields, the header " +
              std::to_string(table_.columns.size()),
          row.fields.size() == 1 && row.fields[0].empty() ? "take the empty line out"
                                                          : "one field for each column, a comma between");
      return;
    }
    bool good = true;
    for (std::size_t i = 0; i < row.fields.size(); ++i) {
      const auto& field = row.fields[i];
      if (field.empty() ||
          (field.front() != ' ' && field.back() != ' ' && field.front() != '\t' && field.back() != '\t'))
        continue;
      add(row.line, "column " + table_.columns[i], "blanks", "\"" + field + "\" has blanks round it",
          "take them out");
      good = false;
    }
    SizeRow out{row.line, at(row, "size"), at(row, "print_revision"), at(row, "part_number"), row.fields};
    good = keys_good(out) && good;
    if (good) table_.rows.push_back(std::move(out));
  }

  bool keys_good(const SizeRow& row) {
    bool good = true;
    if (!is_size(row.size)) {
      add(row.line, "column size", "size_name", "\"" + row.size + "\" is no size",
          "use 1 to 40 letters, digits and -");
      good = false;
    }
    if (row.print_revision.empty()) {
      add(row.line, "column print_revision", "empty_cell", "size " + row.size + " has no print revision",
          "write the drawing's, as it stands there");
      good = false;
    }
    const auto [spelled, new_size] = spelling_.emplace(lower_case(row.size), row.size);
    if (!new_size && spelled->second != row.size) {
      add(row.line, "column size", "double_size",
          "\"" + row.size + "\" and \"" + spelled->second + "\" differ in case only", "write it one way");
      good = false;
    }
    const auto [first, fresh] = rows_.emplace(std::pair{lower_case(row.size), row.print_revision}, row.line);
    if (!fresh) {
      add(row.line, "column size", "double_size",
          "size " + row.size + " at print revision " + row.print_revision + " stands in line " +
              std::to_string(first->second) + " already",
          "one row for each size and print revision");
      good = false;
    }
    return good;
  }

  const std::string& file_;
  std::vector<Fault>& faults_;
  SizeTable table_;
  std::map<std::string, std::string> spelling_;
  std::map<std::pair<std::string, std::string>, int> rows_;
};

}  // namespace

Expected<std::vector<CsvRow>> read_csv(std::string_view text) { return CsvReader(text).all(); }

std::string csv_line(const std::vector<std::string>& fields, std::string_view line_end) {
  std::string out;
  for (std::size_t i = 0; i < fields.size(); ++i) {
    if (i > 0) out += ',';
    if (fields[i].find_first_of(",\"\r\n") == std::string::npos) {
      out += fields[i];
      continue;
    }
    out += '"';
    for (const char c : fields[i]) out += c == '"' ? std::string("\"\"") : std::string(1, c);
    out += '"';
  }
  return out.append(line_end);
}

const std::string* SizeTable::cell(const SizeRow& row, std::string_view column) const {
  const auto found = std::find(columns.begin(), columns.end(), column);
  return found == columns.end() ? nullptr : &row.cells[static_cast<std::size_t>(found - columns.begin())];
}

SizeTable read_size_table(std::string_view csv, const std::string& file, std::vector<Fault>& faults) {
  return TableReader(file, faults).read(csv);
}

}  // namespace tallystick::checklist
