#include "daemon/checklist/row_worker.hpp"

#include <algorithm>

#include "daemon/checklist/capture_source.hpp"

namespace tallystick::checklist {
namespace {

/// Faults that were told at the cell are not told again at every formula that meets it.
constexpr const char* told_already = "told_already";

int decimals_for(const FeatureSource& source, Unit unit) {
  if (const auto found = source.decimals.find(std::string(unit.name())); found != source.decimals.end())
    return found->second;
  const auto all = source.decimals.find("");
  return all != source.decimals.end() ? all->second : 0;
}

const ExceptionSource* exception_for(const FamilySource& family, const std::string& size,
                                     const std::string& feature) {
  for (const auto& exception : family.exceptions)
    if (exception.feature == feature &&
        std::find(exception.sizes.begin(), exception.sizes.end(), size) != exception.sizes.end())
      return &exception;
  return nullptr;
}

void with_exception(Formulas& formulas, LimitSymbols& symbols, const ExceptionSource& exception) {
  const bool by_formula = std::any_of(limit_keys.begin(), limit_keys.end(),
                                         [&](const auto& key) { return exception.formulas.contains(key); });
  if (by_formula || exception.symbols.any()) {
    for (const auto& key : limit_keys) formulas.erase(key);
    symbols = exception.symbols;
  }
  for (const auto& [key, formula] : exception.formulas) formulas.insert_or_assign(key, formula);
}

/// The print's limits and those before a finish together: both must be plausible.
Limits widest(const Limits& limits, const Feature& feature, Unit unit) {
  Limits out = limits;
  if (const auto lower = Quantity::parse(feature.finish.lower, unit); lower && out.lower) out.lower = std::min(*out.lower, *lower);
  if (const auto upper = Quantity::parse(feature.finish.upper, unit); upper && out.upper) out.upper = std::max(*out.upper, *upper);
  return out;
}

/// `value` moved by `widths` times the tolerance, or nothing where that cannot be held.
std::optional<Quantity> moved(Quantity value, std::int64_t tolerance, int widths) {
  std::int64_t by = 0, count = 0;
  if (__builtin_mul_overflow(tolerance, std::int64_t{widths}, &by) ||
      __builtin_add_overflow(value.count(), by, &count))
    return {};
  return Quantity::of_count(count, value.unit());
}

}  // namespace

RowWorker::RowWorker(const FamilySource& family, const SizeTable& table, const SizeRow& row,
                     std::map<std::string, Cell> cells, std::optional<Unit> print_unit)
    : family_(family), table_(table), row_(row), cells_(std::move(cells)), print_unit_(print_unit) {
  for (const auto& column : table_.columns) texts_[column] = *table_.cell(row_, column);
  columns_ = [this](const std::string& column) -> Expected<Cell> {
    if (const auto found = cells_.find(column); found != cells_.end()) return found->second;
    return fail(told_already, column);
  };
}

WorkedSize RowWorker::work_out() {
  auto& edition = worked_.edition;
  edition.family = family_.key;
  edition.size = row_.size;
  edition.print_revision = row_.print_revision;
  edition.part_number = row_.part_number;
  edition.title = family_.title;
  edition.after_reject = family_.after_reject;
  edition.next_part = family_.next_part;
  edition.walk_order = family_.order;
  edition.tray = family_.tray;
  edition.moves_allowed = family_.moves_allowed;
  edition.gauge_step_share = family_.gauge_step_share;
  edition.judging = family_.judging;
  worked_.row_line = row_.line;
  for (const auto& source : family_.features)
    if (source.sound && exists(source)) present_.push_back(source.key);
  for (const auto& source : family_.features)
    if (source.sound && std::find(present_.begin(), present_.end(), source.key) != present_.end())
      add_feature(source);
  return std::move(worked_);
}

void RowWorker::find(const FeatureSource& source, const std::string& key, const Error& error, int line) {
  findings.push_back({source.key, key, error.code, error.what, error.hint, line > 0 ? line : source.line,
                      row_.size, row_.line});
}

bool RowWorker::exists(const FeatureSource& source) {
  if (!source.only_if) return true;
  const auto holds = source.only_if->expression.holds(columns_);
  if (holds) return *holds;
  find(source, "only_if", holds.error(), source.only_if->line);
  return false;
}

/// Keys of features with a count stand for all their places.
std::vector<std::string> RowWorker::counted(const std::vector<std::string>& keys) const {
  std::vector<std::string> out;
  for (const auto& key : keys)
    for (const auto& source : family_.features) {
      if (source.key != key || std::find(present_.begin(), present_.end(), key) == present_.end()) continue;
      for (int n = 1; n <= source.count; ++n)
        out.push_back(source.count == 1 ? key : key + "-" + std::to_string(n));
    }
  return out;
}

Feature RowWorker::words_of(const FeatureSource& source, int place) {
  Feature out;
  const auto n = std::to_string(place);
  auto values = texts_;
  if (source.count > 1) values["n"] = n;
  std::vector<std::string> unknown;
  const auto words = [&](const std::string& text) { return filled_in(text, values, unknown); };
  out.key = source.count == 1 ? source.key : source.key + "-" + n;
  out.balloon = source.count == 1 ? source.balloon : source.balloon + "." + n;
  out.name = words(source.name);
  out.kind = source.kind;
  out.feature_class = source.feature_class;
  out.stages = source.stages;
  out.places = source.places;
  out.reduction = source.reduction.empty() ? "each" : source.reduction;
  out.material = source.material;
  out.zero_plausible = source.zero_plausible;
  out.capture = source.capture;
  out.capture_value = source.capture_value;
  out.settle_ms = source.settle_ms;
  out.end_after_ms = source.end_after_ms;
  out.turns = source.turns;
  out.least_ms = source.least_ms;
  out.longest_gap_ms = source.longest_gap_ms;
  out.method = words(source.method);
  out.question_good = words(source.question);
  out.question_no_go = words(source.question_no_go);
  out.tool = words(source.tool);
  out.edge = words(source.edge);
  out.ruler = source.ruler;
  out.before = counted(source.before);
  out.tells_sizes_apart = source.tells_sizes_apart;
  for (const auto& name : unknown)
    find(source, "{" + name + "}",
         {"unknown_column", "there is no column \"" + name + "\" to fill in", "",
          did_you_mean(name, table_.columns)});
  return out;
}

void RowWorker::add_feature(const FeatureSource& source) {
  auto formulas = source.formulas;
  auto symbols = source.symbols;
  auto gauge_kind = source.gauge_kind;
  std::string why;
  if (const auto* exception = exception_for(family_, row_.size, source.key)) {
    with_exception(formulas, symbols, *exception);
    if (!exception->gauge_kind.empty()) gauge_kind = exception->gauge_kind;
    why = exception->why;
  }
  for (int place = 1; place <= source.count; ++place) {
    auto feature = words_of(source, place);
    feature.gauge_kind = gauge_kind;
    feature.exception = why;
    if (source.has_value() && !set_values(source, formulas, symbols, place, feature)) return;
    worked_.edition.features.push_back(std::move(feature));
    worked_.feature_lines.push_back(source.line);
  }
}

Expected<std::optional<Quantity>> RowWorker::formula(const Formulas& formulas, const std::string& key,
                                                     Unit unit) {
  const auto found = formulas.find(key);
  if (found == formulas.end()) return std::optional<Quantity>{};
  auto value = found->second.expression.work_out(columns_, unit);
  if (value) return std::optional<Quantity>{*value};
  auto error = value.error();
  error.where = key;
  return tl::unexpected(std::move(error));
}

Expected<Limits> RowWorker::limits_from(const FeatureSource& source, const Formulas& formulas,
                                        const LimitSymbols& symbols, Unit unit) {
  std::map<std::string, std::optional<Quantity>> values;
  bool good = true;
  Error first;
  for (const auto* key : {"nominal", "lower", "upper", "plus_minus", "lower_deviation", "upper_deviation"}) {
    auto value = formula(formulas, key, unit);
    if (value) {
      values[key] = *value;
      continue;
    }
    if (good)
      first = value.error();
    else
      find(source, key, value.error(), formulas.at(key).line);
    good = false;
  }
  if (!good) return tl::unexpected(first);
  if (symbols.any()) return limits_by_symbol(formulas, symbols, values["nominal"], unit);
  if (const auto& amount = values["plus_minus"]; amount && values["nominal"])
    return Limits::plus_minus(*values["nominal"], *amount);
  if (!values["lower_deviation"] && !values["upper_deviation"])
    return Limits::direct(values["lower"], values["upper"], values["nominal"]);
  const auto from_nominal = [&](const char* deviation) -> Expected<std::optional<Quantity>> {
    if (!values[deviation] || !values["nominal"]) return std::optional<Quantity>{};
    const auto sum = add(*values["nominal"], *values[deviation]);
    if (!sum) return tl::unexpected(sum.error());
    return std::optional<Quantity>{Quantity::of_count(sum->count(), unit)};
  };
  const auto lower = from_nominal("lower_deviation"), upper = from_nominal("upper_deviation");
  if (!lower) return tl::unexpected(lower.error());
  if (!upper) return tl::unexpected(upper.error());
  // ISO 286: the nominal may lie outside (32 p6 is 32 +0.026 / +0.042), so it is not held against the limits.
  auto limits = Limits::direct(*lower, *upper);
  if (limits) limits->nominal = values["nominal"];
  return limits;
}

bool RowWorker::set_values(const FeatureSource& source, const Formulas& formulas, const LimitSymbols& symbols,
                           int place, Feature& feature) {
  auto unit = print_unit_;
  if (source.unit != "print") {
    const auto named = Unit::named(source.unit);
    unit = named ? std::optional<Unit>(*named) : std::nullopt;
  }
  if (!unit) return false;  // told at the unit itself
  feature.unit = unit->name();
  feature.decimals = decimals_for(source, *unit);
  feature.unjudged = !source.judged;
  if (!source.judged)
    return set_capture(source, formulas, Limits{}, *unit, feature) &&
           set_plausible(source, formulas, Limits{}, *unit, feature.decimals, feature);
  const auto limits = limits_from(source, formulas, symbols, *unit);
  if (!limits) {
    const auto& error = limits.error();
    const bool symbol = error.where == "fit" || error.where == "general";
    const auto line = formulas.contains(error.where) ? formulas.at(error.where).line
                      : symbol                       ? symbols.line
                                                     : source.line;
    find(source, symbol || formulas.contains(error.where) ? error.where : "", error, line);
    return false;
  }
  const auto text = [&](const std::optional<Quantity>& value) {
    return value ? value->text(feature.decimals) : std::string();
  };
  feature.nominal = text(limits->nominal);
  feature.lower = text(limits->lower);
  feature.upper = text(limits->upper);
  if (!set_judging(source, formulas, *limits, *unit, feature) || !set_finish(source, formulas, *limits, *unit, feature))
    return false;
  if (source.derived) return set_derived(source, place, *unit, feature);
  return set_capture(source, formulas, *limits, *unit, feature) &&
         set_plausible(source, formulas, widest(*limits, feature, *unit), *unit, feature.decimals, feature);
}

bool RowWorker::set_capture(const FeatureSource& source, const Formulas& formulas, const Limits& limits, Unit unit,
                            Feature& feature) {
  bool good = true;
  for (const auto& [key, out] : {std::pair<const char*, std::string*>{"movement", &feature.movement}, {"window", &feature.window}}) {
    const auto value = formula(formulas, key, unit);
    if (value && !*value) continue;
    auto fault = value ? capture_fault(source, key, **value, limits) : value.error();
    if (!value || !fault.code.empty()) {
      find(source, key, fault, formulas.at(key).line);
      good = false;
      continue;
    }
    *out = (*value)->text();
  }
  return good;
}

bool RowWorker::set_plausible(const FeatureSource& source, const Formulas& formulas, const Limits& limits,
                              Unit unit, int decimals, Feature& feature) {
  bool good = true;
  const auto stated = [&](const char* key) -> std::optional<Quantity> {
    auto value = formula(formulas, key, unit);
    if (value) return *value;
    find(source, key, value.error(), formulas.at(key).line);
    good = false;
    return {};
  };
  auto lower = stated("plausible_lower"), upper = stated("plausible_upper");
  if (!good) return false;
  if (limits.lower && limits.upper) {
    const auto tolerance = subtract(*limits.upper, *limits.lower);
    if (tolerance && !lower) lower = moved(*limits.lower, tolerance->count(), -family_.plausible_widths);
    if (tolerance && !upper) upper = moved(*limits.upper, tolerance->count(), family_.plausible_widths);
  }
  if (!lower || !upper) {
    find(source, "plausible_lower",
         {"no_plausible_range", "has no plausible range", "", "add plausible_lower and plausible_upper"});
    return false;
  }
  if (*lower > *upper || (limits.lower && *limits.lower < *lower) ||
      (limits.upper && *upper < *limits.upper)) {
    find(source, "plausible_lower",
         {"limits_crossed",
          "the plausible range " + lower->text(decimals) + " to " + upper->text(decimals) +
              " does not hold the limits",
          "", "widen it: a good part must be plausible"});
    return false;
  }
  feature.plausible_lower = lower->text(decimals);
  feature.plausible_upper = upper->text(decimals);
  return true;
}

}  // namespace tallystick::checklist
