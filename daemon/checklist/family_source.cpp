#include "daemon/checklist/family_source.hpp"

#include <algorithm>
#include <set>

#include "daemon/checklist/capture_source.hpp"
#include "daemon/checklist/derived_source.hpp"
#include "daemon/measure/general_tolerances.hpp"
#include "daemon/measure/iso286.hpp"

namespace tallystick::checklist {
namespace {

const std::vector<std::string> kinds = {"reading", "capture", "derived", "go_no_go", "mating_check", "look"};
const std::vector<std::string> stage_names = {"setup",     "first_part", "in_process",
                                              "last_part", "final",      "after_finish"};
const std::vector<std::string> formula_keys = {"nominal",         "lower",           "upper",
                                               "plus_minus",      "lower_deviation", "upper_deviation",
                                               "plausible_lower", "plausible_upper",
                                               "shorter_side",    "movement",        "window",
                                               "uncertainty",     "build_up",        "build_up_spread"};

void read_formulas(TomlTable& table, Formulas& formulas) {
  for (const auto& key : formula_keys) {
    const auto text = table.quoted(key);
    if (text.empty()) continue;
    auto expression = Expression::value(text);
    if (expression) {
      formulas.emplace(key, Formula{table.line(key), std::move(*expression)});
    } else {
      table.fault(key, expression.error().code, expression.error().what, expression.error().hint);
    }
  }
}

/// A text that does not depend on the row is understood here, at its line.
template <class T>
void understood(const TomlTable& table, const char* key, const std::string& text, Expected<T> (*read)(std::string_view)) {
  if (text.empty() || text.find('{') != std::string::npos) return;
  if (const auto value = read(text); !value)
    table.fault(key, value.error().code, value.error().what, value.error().hint);
}

LimitSymbols read_symbols(TomlTable& table) {
  LimitSymbols out;
  out.fit = table.text("fit");
  out.js_odd = table.word("js_odd", {"exact", "even-below"}, "exact");
  out.general = table.text("general");
  out.general_kind = table.word("general_kind", {"linear", "edge", "angle"}, "linear");
  out.line = out.fit.empty() ? table.line("general") : table.line("fit");
  understood(table, "fit", out.fit, &iso286::class_from);
  understood(table, "general", out.general, &general_class_named);
  if (table.has("js_odd") && out.fit.empty())
    table.fault("js_odd", "contradiction", "nothing is halved: there is no fit", "add fit = \"js7\", or take it out");
  const bool angle = !out.general.empty() && out.general_kind == "angle";
  if (table.has("general_kind") && out.general.empty())
    table.fault("general_kind", "contradiction", "there is no general tolerance", "add general = \"m\", or take it out");
  if (angle && !table.has("shorter_side"))
    table.fault("general", "missing_key", "the general tolerance of an angle goes by its shorter side",
                "add shorter_side = \"40 mm\": its length");
  if (!angle && table.has("shorter_side"))
    table.fault("shorter_side", "contradiction", "only a general tolerance of an angle has a shorter side",
                "add general_kind = \"angle\", or take it out");
  return out;
}

void read_decimals(TomlTable& table, FeatureSource& feature) {
  if (!table.has("decimals")) return;
  // Either one number for all prints, or a number for each unit.
  if (const auto* node = table.node("decimals"); node != nullptr && node->is_table()) {
    for (const auto& [unit, count] : *node->as_table()) {
      const auto value = count.value_exact<std::int64_t>();
      if (!value || *value < 0 || *value > 9)
        table.fault("decimals", "out_of_range",
                    "decimals of " + std::string(unit.str()) + " are no whole number from 0 to 9", "");
      else if (const auto known = Unit::named(unit.str()); !known)
        table.fault("decimals", known.error().code, known.error().what, known.error().hint);
      else
        feature.decimals[std::string(unit.str())] = static_cast<int>(*value);
    }
    return;
  }
  feature.decimals[""] = table.whole("decimals", 0, 9, 0);
}

/// What every feature with a value says: its unit, its limits, how it is judged.
void read_value(TomlTable& table, FeatureSource& feature) {
  feature.unit = table.text("unit", "print");
  if (feature.unit != "print")
    if (const auto unit = Unit::named(feature.unit); !unit)
      table.fault("unit", unit.error().code, unit.error().what, unit.error().hint);
  read_formulas(table, feature.formulas);
  feature.symbols = read_symbols(table);
  read_decimals(table, feature);
  feature.material = table.word("material", {"outside", "inside", ""}, "");
  read_judging(table, feature);
}

void read_measured(TomlTable& table, FeatureSource& feature) {
  read_value(table, feature);
  feature.judged = table.yes_or_no("judged", true);
  feature.gauge_kind = table.id("gauge_kind");
  feature.places = table.texts("places");
  feature.reduction =
      table.word("reduction", {"each", "mean", "median", "range", "greatest", "least"}, "each");
  feature.zero_plausible = table.yes_or_no("zero_plausible", false);
  feature.tells_sizes_apart = table.yes_or_no("tells_sizes_apart", false);
  read_capture(table, feature);
}

void read_asked(TomlTable& table, FeatureSource& feature) {
  if (feature.kind == "go_no_go") {
    feature.question = table.needed_text("question_go");
    feature.question_no_go = table.needed_text("question_no_go");
  } else {
    feature.question = table.needed_text("question");
  }
  if (feature.kind != "look") feature.tool = table.text("tool");
}

bool has(const FeatureSource& feature, const char* key) { return feature.formulas.contains(key); }

/// Readings that only serve derived features: what could be is all that is said of them.
void check_unjudged(const TomlTable& table, const FeatureSource& feature) {
  for (const auto& key : {"lower", "upper", "plus_minus", "lower_deviation", "upper_deviation", "fit", "general", "uncertainty",
                          "build_up", "decision"})
    if (table.has(key))
      table.fault(key, "contradiction", "judged = false says that these readings are not judged by themselves",
                  "take it out, or take judged out");
  if (feature.reduction != "each")
    table.fault("reduction", "contradiction", "a reduction makes one value that is judged", "take it out, or take judged out");
  if (!(has(feature, "plausible_lower") && has(feature, "plausible_upper")))
    table.fault("", "no_plausible_range", "has no limits, so nothing says which values cannot be right",
                "add plausible_lower = \"...\" and plausible_upper = \"...\"");
}

/// One way of stating limits, and what each way needs.
void check_limit_forms(const TomlTable& table, const FeatureSource& feature) {
  if (!feature.judged) return check_unjudged(table, feature);
  const bool direct = has(feature, "lower") || has(feature, "upper");
  const bool deviations = has(feature, "lower_deviation") || has(feature, "upper_deviation");
  const int ways = int(direct) + int(deviations) + int(has(feature, "plus_minus")) +
                   int(!feature.symbols.fit.empty()) + int(!feature.symbols.general.empty());
  const bool tried =
      std::any_of(limit_keys.begin(), limit_keys.end(), [&](const auto& key) { return table.has(key); });
  if (ways == 0 && !tried)
    table.fault("", "no_limits", "states no limit",
                "state lower and upper (or one of them), or nominal with plus_minus, or nominal with "
                "lower_deviation and upper_deviation, or nominal with fit or general");
  if (ways > 1) table.fault("", "contradiction", "states its limits in more than one way", "keep one");
  if (ways == 1 && !direct && !table.has("nominal"))
    table.fault("", "missing_key", "deviations, fits and general tolerances need a nominal to start from", "add nominal = \"...\"");
  const bool one_sided =
      (direct && !(has(feature, "lower") && has(feature, "upper"))) ||
      (deviations && !(has(feature, "lower_deviation") && has(feature, "upper_deviation")));
  if (ways == 1 && one_sided && feature.measured() && !(table.has("plausible_lower") && table.has("plausible_upper")))
    table.fault("", "no_plausible_range", "has one limit only, so nothing says which values cannot be right",
                "add plausible_lower = \"...\" and plausible_upper = \"...\": the least and greatest value "
                "that a whole part could show");
}

FeatureSource read_feature(const TomlText& text, const toml::table& from) {
  const auto faults_before = text.count();
  TomlTable table(text, from, "feature");
  FeatureSource feature;
  feature.line = table.line();
  feature.key = table.id("key");
  table.rename("feature " + (feature.key.empty() ? "?" : feature.key));
  feature.balloon = table.quoted("balloon");
  if (!table.has("balloon"))
    table.fault("", "missing_key", "\"balloon\" is missing", "add the number that it has on the drawing");
  feature.name = table.needed_text("name");
  feature.kind = table.word("kind", kinds, "reading");
  feature.feature_class = table.word("class", {"critical", "major", "minor"}, "major");
  feature.stages = table.texts("stages");
  for (const auto& stage : feature.stages)
    if (std::find(stage_names.begin(), stage_names.end(), stage) == stage_names.end())
      table.fault("stages", "unknown_word", "\"" + stage + "\" is no stage",
                  did_you_mean(stage, stage_names));
  feature.count = table.whole("count", 1, 99, 1);
  feature.method = table.text("method");
  feature.edge = table.text("edge");
  feature.ruler = table.word("ruler", {"up", "down", "left", "right", "radial", ""}, "");
  feature.before = table.texts("before");
  if (const auto condition = table.text("only_if"); !condition.empty()) {
    auto expression = Expression::condition(condition);
    if (expression)
      feature.only_if = Formula{table.line("only_if"), std::move(*expression)};
    else
      table.fault("only_if", expression.error().code, expression.error().what, expression.error().hint);
  }
  if (feature.has_value()) {
    if (feature.measured()) {
      read_measured(table, feature);
    } else {
      read_value(table, feature);
      read_derived(table, feature);
    }
    check_limit_forms(table, feature);
    if (!feature.edge.empty() && feature.ruler.empty())
      table.fault("edge", "contradiction", "an edge without the way that its ruler points",
                  "add ruler = \"up\" (towards more material)");
  } else {
    read_asked(table, feature);
  }
  table.done();
  feature.sound = text.count() == faults_before;
  return feature;
}

ExceptionSource read_exception(const TomlText& text, const toml::table& from) {
  TomlTable table(text, from, "exception");
  ExceptionSource out;
  out.line = table.line();
  out.sizes = table.texts("sizes");
  if (out.sizes.empty()) table.fault("", "missing_key", "names no size", "add sizes = [\"...\"]");
  out.feature = table.needed_text("feature");
  table.rename("exception of feature " + out.feature);
  out.why = table.needed_text("why");
  out.gauge_kind = table.text("gauge_kind");
  read_formulas(table, out.formulas);
  out.symbols = read_symbols(table);
  if (out.formulas.empty() && out.gauge_kind.empty() && !out.symbols.any())
    table.fault("", "missing_key", "changes nothing",
                "add what differs: limits, nominal, plausible range or gauge_kind");
  table.done();
  return out;
}

void read_columns(const TomlText& text, TomlTable& root, FamilySource& out) {
  const auto* from = root.table("columns");
  if (from == nullptr) return;
  TomlTable table(text, *from, "columns");
  for (const auto& [name, node] : *from) {
    const std::string column(name.str());
    const auto unit = table.text(column);
    out.column_lines[column] = table.line(column);
    if (is_key_column(column)) {
      table.fault(column, "contradiction", "\"" + column + "\" is a key column and has no unit",
                  "take it out");
      continue;
    }
    if (unit != "print" && unit != "number" && unit != "text")
      if (const auto known = Unit::named(unit); !known) {
        table.fault(column, known.error().code, known.error().what,
                    "a unit (mm, in, ...), \"print\", \"number\" or \"text\"");
        continue;
      }
    out.columns[column] = unit;
  }
}

/// One gauge round all parts of a tray needs to know how many lie there.
void read_order(TomlTable& table, FamilySource& out) {
  out.order = table.word("order", {"by_part", "by_feature"}, "by_part");
  if (table.has("tray")) out.tray = table.whole("tray", 2, 60, 2);
  if (out.order == "by_feature" && !table.has("tray"))
    table.fault("order", "missing_key", "by_feature needs to know how many parts lie on the tray",
                "add tray = 12 (2 to 60 slots), or write order = \"by_part\"");
  if (out.order == "by_part" && table.has("tray"))
    table.fault("tray", "contradiction", "a tray, although the order is part by part",
                "write order = \"by_feature\", or take tray out");
}

void read_head(const TomlText& text, TomlTable& root, FamilySource& out) {
  const auto* from = root.table("family");
  if (from == nullptr) {
    root.fault("", "missing_key", "there is no [family]",
               "begin with [family], key = \"...\" and title = \"...\"");
    return;
  }
  TomlTable table(text, *from, "family");
  out.key = table.id("key");
  out.title = table.needed_text("title");
  out.table_file = table.needed_text("sizes");
  out.drawing_file = table.text("drawing");
  table.text("about");
  out.print_unit = table.text("print_unit");
  if (!out.print_unit.empty())
    if (const auto unit = Unit::named(out.print_unit); !unit)
      table.fault("print_unit", unit.error().code, unit.error().what, unit.error().hint);
  out.after_reject = table.word("after_reject", {"go_on", "end_part", "stop_walk"}, "go_on");
  out.next_part = table.word("next_part", {"by_itself", "by_key"}, "by_itself");
  out.judging = table.word("judging", {"absolute", "half_even", "half_up"}, "absolute");
  out.decision = table.word("decision", {"simple", "stringent"}, "simple");
  read_order(table, out);
  out.moves_allowed = table.yes_or_no("moves_allowed", true);
  out.gauge_step_share = table.whole("gauge_step_share", 1, 100, 5);
  out.plausible_widths = table.whole("plausible_widths", 1, 1000, 5);
  table.done();
}

/// Keys and balloons stand once; what `before` and exceptions name exists.
void check_names(const TomlText& text, FamilySource& family) {
  std::map<std::string, int> keys, balloons;
  std::vector<std::string> known;
  for (auto& feature : family.features) {
    const auto place = "feature " + feature.key;
    const auto [first_key, fresh_key] = keys.emplace(feature.key, feature.line);
    feature.sound = feature.sound && fresh_key;
    if (!fresh_key && !feature.key.empty())
      text.add(Severity::fault, feature.line, place, "double_key",
               "key \"" + feature.key + "\" stands in line " + std::to_string(first_key->second) + " already",
               "a key names one feature for ever");
    if (const auto [first, fresh] = balloons.emplace(feature.balloon, feature.line);
        !fresh && !feature.balloon.empty())
      text.add(Severity::fault, feature.line, place, "double_balloon",
               "balloon " + feature.balloon + " stands in line " + std::to_string(first->second) + " already",
               "give each its own, or count = ... for several places under one balloon");
    known.push_back(feature.key);
  }
  for (const auto& feature : family.features)
    for (const auto& later : feature.before)
      if (!keys.contains(later))
        text.add(Severity::fault, feature.line, "feature " + feature.key + ", before", "unknown_feature",
                 "there is no feature \"" + later + "\"", did_you_mean(later, known));
  for (const auto& exception : family.exceptions)
    if (!exception.feature.empty() && !keys.contains(exception.feature))
      text.add(Severity::fault, exception.line, "exception", "unknown_feature",
               "there is no feature \"" + exception.feature + "\"", did_you_mean(exception.feature, known));
}

/// A ring: each waits for the next, so none can be first.
void check_rings(const TomlText& text, const FamilySource& family) {
  std::map<std::string, const FeatureSource*> open;
  for (const auto& feature : family.features) open.emplace(feature.key, &feature);
  for (bool took = true; took;) {
    took = false;
    std::set<std::string> waiting;
    for (const auto& [key, feature] : open) waiting.insert(feature->before.begin(), feature->before.end());
    for (auto entry = open.begin(); entry != open.end();) {
      if (waiting.contains(entry->first)) {
        ++entry;
      } else {
        entry = open.erase(entry);
        took = true;
      }
    }
  }
  if (open.empty()) return;
  std::string names;
  int line = 0;
  for (const auto& [key, feature] : open) {
    names += (names.empty() ? "" : ", ") + key;
    if (line == 0 || feature->line < line) line = feature->line;
  }
  text.add(Severity::fault, line, "before", "ring", "each of " + names + " waits for another of them",
           "take one `before` out");
}

}  // namespace

bool is_key_column(std::string_view column) {
  return column == "size" || column == "print_revision" || column == "part_number" || column == "print_unit";
}

FamilySource read_family_source(const TomlText& text) {
  FamilySource out;
  if (text.root() == nullptr) return out;
  TomlTable root(text, *text.root(), "");
  read_head(text, root, out);
  read_columns(text, root, out);
  for (const auto* table : root.tables("feature")) out.features.push_back(read_feature(text, *table));
  for (const auto* table : root.tables("exception")) out.exceptions.push_back(read_exception(text, *table));
  if (out.features.empty())
    root.fault("", "missing_key", "there is no [[feature]]", "add one for each balloon of the drawing");
  root.done();
  check_names(text, out);
  check_derived_names(text, out);
  check_rings(text, out);
  return out;
}

std::string filled_in(const std::string& text, const std::map<std::string, std::string>& values,
                      std::vector<std::string>& unknown) {
  std::string out;
  std::size_t at = 0;
  while (at < text.size()) {
    const auto open = text.find('{', at);
    const auto close = open == std::string::npos ? open : text.find('}', open);
    if (close == std::string::npos) break;
    const auto name = text.substr(open + 1, close - open - 1);
    out.append(text, at, open - at);
    if (const auto found = values.find(name); found != values.end()) {
      out += found->second;
    } else {
      out.append(text, open, close - open + 1);
      unknown.push_back(name);
    }
    at = close + 1;
  }
  return out.append(text, at, std::string::npos);
}

}  // namespace tallystick::checklist
