#include "daemon/checklist/family.hpp"

#include <algorithm>
#include <set>
#include <tuple>

#include "daemon/checklist/row_worker.hpp"
#include "daemon/checklist/trend.hpp"

namespace tallystick::checklist {
namespace {

/// Works out all rows and puts each fault where its remedy is: at the feature where all sizes that have it
/// suffer, else at the row.
class FamilyWorker {
 public:
  FamilyWorker(const TomlText& text, const FamilySource& source, const ReadFile& read_file,
               std::vector<Fault>& faults)
      : text_(text), source_(source), read_file_(read_file), faults_(faults) {}

  Family work_out() {
    Family out;
    out.key = source_.key;
    out.title = source_.title;
    out.file = text_.file();
    out.table_file = source_.table_file;
    out.drawing_file = source_.drawing_file;
    read_drawing(out);
    if (source_.table_file.empty()) return out;
    const auto csv = read_file_(source_.table_file);
    if (!csv) {
      text_.add(Severity::fault, 1, "family, sizes", csv.error().code, csv.error().what, csv.error().hint);
      return out;
    }
    table_ = read_size_table(*csv, source_.table_file, faults_);
    out.columns = table_.columns;
    if (table_.columns.empty()) return out;
    check_columns();
    check_exceptions();
    const bool features_sound = !shared_fault();
    for (const auto& row : table_.rows) work_out_row(row, out);
    check_bare_decimals();
    tell_findings();
    for (auto& fault : trend_breaks(trend_, source_.table_file)) faults_.push_back(std::move(fault));
    // A feature that cannot be read cannot be left out of a checklist either: then no size is served.
    if (!features_sound || !sound_so_far_) out.sizes.clear();
    const auto drawing = out.drawing.empty() ? std::string() : sha256_hex(out.drawing);
    for (auto& size : out.sizes) size.edition.drawing = drawing;
    return out;
  }

 private:
  void row_fault(int line, const std::string& place, const Error& error) {
    faults_.push_back({Severity::fault, source_.table_file, line, place, error.code, error.what, error.hint});
  }

  /// A fault of the family's own file or of the table's header; rows with a fault of their own are left out
  /// anyway.
  bool shared_fault() const {
    return std::any_of(faults_.begin(), faults_.end(), [&](const Fault& fault) {
      return fault.severity == Severity::fault && (fault.file != source_.table_file || fault.line <= 1);
    });
  }

  void read_drawing(Family& out) {
    if (source_.drawing_file.empty()) return;
    auto bytes = read_file_(source_.drawing_file);
    if (!bytes) {
      text_.add(Severity::fault, 1, "family, drawing", bytes.error().code, bytes.error().what,
                bytes.error().hint);
      return;
    }
    out.drawing = std::move(*bytes);
    check_edges(out.drawing);
  }

  /// Every edge is an id of the drawing.
  void check_edges(const std::string& drawing) {
    std::vector<std::string> ids;
    for (std::size_t at = 0; (at = drawing.find(" id=\"", at)) != std::string::npos;) {
      at += 5;
      ids.push_back(drawing.substr(at, drawing.find('"', at) - at));
    }
    for (const auto& feature : source_.features)
      for (int n = 1; n <= feature.count && !feature.edge.empty(); ++n) {
        std::vector<std::string> unknown;
        const auto edge = filled_in(feature.edge, {{"n", std::to_string(n)}}, unknown);
        if (!unknown.empty() || std::find(ids.begin(), ids.end(), edge) != ids.end()) continue;
        text_.add(Severity::fault, feature.line, "feature " + feature.key + ", edge", "unknown_edge",
                  "the drawing " + source_.drawing_file + " has no element with id=\"" + edge + "\"",
                  did_you_mean(edge, ids));
      }
  }

  void check_columns() {
    const std::set<std::string> in_table(table_.columns.begin(), table_.columns.end());
    for (const auto& [column, unit] : source_.columns) {
      if (in_table.contains(column)) continue;
      text_.add(Severity::fault, source_.column_lines.at(column), "columns, " + column, "unknown_column",
                source_.table_file + " has no column \"" + column + "\"",
                did_you_mean(column, table_.columns));
    }
    for (const auto& column : table_.columns)
      if (!is_key_column(column) && !source_.column_lines.contains(column))
        row_fault(1, "column " + column,
                  {"undeclared_column", "column \"" + column + "\" has no declared unit", "",
                   "add it under [columns] in " + text_.file() + ": " + column +
                       " = \"mm\" (or \"print\", \"number\", \"text\")"});
    if (source_.print_unit.empty() && !in_table.contains("print_unit"))
      text_.add(Severity::fault, 1, "family", "missing_key", "nothing says which unit the prints are in",
                "add print_unit = \"mm\" under [family], or a column print_unit to " + source_.table_file);
    for (const auto& feature : source_.features) {
      for (const auto& [key, formula] : feature.formulas)
        check_names("feature " + feature.key + ", " + key, formula);
      if (feature.only_if) check_names("feature " + feature.key + ", only_if", *feature.only_if);
    }
    for (const auto& exception : source_.exceptions)
      for (const auto& [key, formula] : exception.formulas)
        check_names("exception of feature " + exception.feature + ", " + key, formula);
  }

  void check_names(const std::string& place, const Formula& formula) {
    std::vector<std::string> known;
    for (const auto& [column, unit] : source_.columns)
      if (unit != "text") known.push_back(column);
    for (const auto& column : formula.expression.columns()) {
      if (std::find(known.begin(), known.end(), column) != known.end()) continue;
      sound_so_far_ = false;
      const bool a_text = source_.columns.contains(column) && source_.columns.at(column) == "text";
      text_.add(Severity::fault, formula.line, place, "unknown_column",
                a_text ? "column \"" + column + "\" holds texts, not values"
                       : "there is no column \"" + column + "\"",
                a_text ? "declare its unit under [columns]" : did_you_mean(column, known));
    }
  }

  void check_exceptions() {
    std::vector<std::string> sizes;
    for (const auto& row : table_.rows) sizes.push_back(row.size);
    for (const auto& exception : source_.exceptions)
      for (const auto& size : exception.sizes)
        if (std::find(sizes.begin(), sizes.end(), size) == sizes.end())
          text_.add(Severity::fault, exception.line, "exception of feature " + exception.feature,
                    "unknown_size", "there is no size \"" + size + "\" in " + source_.table_file,
                    did_you_mean(size, sizes));
  }

  std::optional<Unit> print_unit_of(const SizeRow& row) {
    const auto* cell = table_.cell(row, "print_unit");
    if (cell == nullptr || (cell->empty() && !source_.print_unit.empty())) {
      const auto unit = Unit::named(source_.print_unit);
      return unit ? std::optional<Unit>(*unit) : std::nullopt;
    }
    const auto unit = Unit::named(*cell);
    if (unit) return *unit;
    row_fault(row.line, "column print_unit", unit.error());
    return {};
  }

  /// Reads every declared cell of a row; what cannot be read is told at once and missing from the result.
  std::map<std::string, Cell> cells_of(const SizeRow& row, std::optional<Unit> print_unit) {
    std::map<std::string, Cell> out;
    for (const auto& [column, unit_name] : source_.columns) {
      const auto* text = table_.cell(row, column);
      if (text == nullptr || unit_name == "text") continue;
      Cell cell;
      if (unit_name == "print") {
        if (!print_unit) continue;
        cell.unit = print_unit;
      } else if (unit_name != "number") {
        const auto unit = Unit::named(unit_name);
        if (!unit) continue;
        cell.unit = *unit;
      }
      cell.empty = text->empty();
      if (!cell.empty) {
        auto value = decimal_from(*text);
        if (!value) {
          row_fault(row.line, "column " + column, value.error());
          continue;
        }
        cell.value = std::move(*value);
      }
      out.emplace(column, std::move(cell));
    }
    return out;
  }

  void work_out_row(const SizeRow& row, Family& out) {
    const auto before = faults_.size();
    const auto print_unit = print_unit_of(row);
    if (print_unit) print_units_.insert(print_unit->index());
    auto cells = cells_of(row, print_unit);
    trend_.push_back({row.line, row.size, print_unit ? std::string(print_unit->name()) : "", cells});
    RowWorker worker(source_, table_, row, std::move(cells), print_unit);
    auto worked = worker.work_out();
    for (const auto& key : worker.present()) ++sizes_with_[key];
    const bool good = faults_.size() == before && worker.findings.empty();
    std::set<std::pair<std::string, std::string>>
        told;  // several formulas of a feature may meet one empty cell
    for (auto& finding : worker.findings)
      if (finding.code != "told_already" && told.emplace(finding.feature, finding.what).second)
        findings_.push_back(std::move(finding));
    if (good) out.sizes.push_back(std::move(worked));
  }

  /// Where prints differ in their unit, a decimal without one would mean two things.
  void check_bare_decimals() {
    if (print_units_.size() < 2) return;
    for (const auto& feature : source_.features) {
      if (feature.unit != "print") continue;
      for (const auto& [key, formula] : feature.formulas) {
        if (!formula.expression.has_bare_decimal()) continue;
        sound_so_far_ = false;
        text_.add(Severity::fault, formula.line, "feature " + feature.key + ", " + key, "bare_decimal",
                  "a decimal without a unit means two things where some sizes are printed in one unit and "
                  "some in another",
                  "write its unit, as in 0.1 mm, or make it a column");
      }
    }
  }

  void tell_findings() {
    std::map<std::tuple<std::string, std::string, std::string>, std::vector<const Finding*>> groups;
    for (const auto& finding : findings_)
      groups[{finding.feature, finding.key, finding.code}].push_back(&finding);
    for (const auto& [name, group] : groups) {
      const auto& first = *group.front();
      auto place = "feature " + first.feature + (first.key.empty() ? "" : ", " + first.key);
      if (group.size() >= std::max<std::size_t>(sizes_with_[first.feature], 1)) {
        auto what = first.what + ", at size " + first.size + " (" + source_.table_file + ":" +
                    std::to_string(first.row_line) + ")";
        if (group.size() > 1) what += " and at all others that have it";
        text_.add(Severity::fault, first.key_line, place, first.code, what, first.remedy);
        continue;
      }
      for (const auto* finding : group)
        row_fault(finding->row_line, place,
                  {finding->code, finding->what + ", at size " + finding->size, "", finding->remedy});
    }
  }

  const TomlText& text_;
  const FamilySource& source_;
  const ReadFile& read_file_;
  std::vector<Fault>& faults_;
  bool sound_so_far_ = true;
  SizeTable table_;
  std::vector<TrendRow> trend_;
  std::set<std::uint8_t> print_units_;
  std::map<std::string, std::size_t> sizes_with_;
  std::vector<Finding> findings_;
};

}  // namespace

Family read_family(std::string_view toml, const std::string& file, const ReadFile& read_file,
                   std::vector<Fault>& faults) {
  std::vector<Fault> own;
  const TomlText text(toml, file, own);
  const auto source = read_family_source(text);
  FamilyWorker worker(text, source, read_file, own);
  auto family = worker.work_out();
  sort_by_place(own);
  faults.insert(faults.end(), own.begin(), own.end());
  if (!family.sizes.empty()) {
    const auto warnings = alike_sizes(family);
    faults.insert(faults.end(), warnings.begin(), warnings.end());
  }
  return family;
}

}  // namespace tallystick::checklist
