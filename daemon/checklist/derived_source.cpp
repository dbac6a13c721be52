#include "daemon/checklist/derived_source.hpp"

#include <algorithm>

#include "daemon/measure/derive.hpp"
#include "daemon/measure/uncertainty.hpp"

namespace tallystick::checklist {
namespace {

/// One text or a list of them.
std::vector<std::string> one_or_several(TomlTable& table, std::string_view key) {
  const auto* node = table.node(key);
  if (node != nullptr && node->is_array()) return table.texts(key);
  const auto text = table.quoted(key);
  return text.empty() ? std::vector<std::string>() : std::vector<std::string>{text};
}

template <class Take>
void each_key(const TomlText& text, TomlTable& table, const char* key, const std::string& place, Take take) {
  const auto* node = table.node(key);
  if (node == nullptr) return;
  if (!node->is_table()) {
    table.fault(key, "wrong_type", "found something else, expected a table", std::string(key) + " = { name = \"...\" }");
    return;
  }
  TomlTable inner(text, *node->as_table(), place + ", " + key);
  for (const auto& [name, value] : *node->as_table()) take(inner, std::string(name.str()));
}

std::optional<Formula> formula_of(TomlTable& table, std::string_view key, const std::string& text) {
  auto expression = Expression::value(text);
  if (expression) return Formula{table.line(key), std::move(*expression)};
  table.fault(key, expression.error().code, expression.error().what, expression.error().hint);
  return {};
}

void read_budget(const TomlText& text, TomlTable& table, FeatureSource& feature) {
  for (const auto* from : table.tables("budget")) {
    TomlTable line(text, *from, "feature " + feature.key + ", budget");
    BudgetSource out;
    out.name = line.needed_text("name");
    out.distribution =
        line.word("distribution", {"standard", "normal_k2", "rectangular", "triangular", "arcsine"}, "standard");
    if (const int freedom = line.whole("freedom", 1, 1'000'000, 0); freedom > 0) out.freedom = std::to_string(freedom);
    const auto amount = line.quoted("amount");
    if (!line.has("amount"))
      line.fault("", "missing_key", "\"amount\" is missing", "add amount = \"0.001 mm\"");
    else if (auto formula = formula_of(line, "amount", amount))
      out.amount = std::move(*formula);
    line.done();
    feature.budget.push_back(std::move(out));
  }
}

void check_finish(const TomlTable& table, const FeatureSource& feature) {
  const bool finish = feature.formulas.contains("build_up");
  if (!finish) {
    for (const char* key : {"build_up_spread", "surfaces"})
      if (table.has(key))
        table.fault(key, "contradiction", "there is no build_up that it belongs to", "add build_up = \"0.010 mm\", or take it out");
    return;
  }
  if (feature.surfaces == 0)
    table.fault("build_up", "missing_key", "does not say across how many finished surfaces is measured",
                "add surfaces = 2 (a diameter, a thickness finished on both sides) or surfaces = 1 (a depth from a masked face)");
  if (feature.material.empty())
    table.fault("build_up", "missing_key", "does not say which way a finish moves the value",
                "add material = \"outside\" (it grows) or material = \"inside\" (it shrinks)");
}

bool asked_in(const FeatureSource& feature, const std::string& stage) {
  return feature.stages.empty() || std::find(feature.stages.begin(), feature.stages.end(), stage) != feature.stages.end();
}

class NameCheck {
 public:
  NameCheck(const TomlText& text, const FamilySource& family) : text_(text), family_(family) {}

  void check(const FeatureSource& feature) {
    for (const auto& input : feature.derived->from)
      for (int n = 1; n <= feature.count; ++n)
        for (const auto& of : input.of) {
          std::vector<std::string> unknown;
          const auto named = readings_named(filled_in(of, {{"n", std::to_string(n)}}, unknown));
          if (!check_one(feature, input, named)) return;
        }
  }

 private:
  /// The feature behind a key, or behind "key-2" of one with a count.
  const FeatureSource* source_of(const std::string& key) const {
    for (const auto& feature : family_.features) {
      if (feature.key == key) return &feature;
      if (feature.count > 1 && key.starts_with(feature.key + "-"))
        for (int n = 1; n <= feature.count; ++n)
          if (key == feature.key + "-" + std::to_string(n)) return &feature;
    }
    return nullptr;
  }

  bool check_one(const FeatureSource& feature, const DerivedSource::Readings& input, const ReadingsNamed& named) {
    const auto place = "feature " + feature.key + ", from, " + input.name;
    const auto fault = [&](const char* code, const std::string& what, const std::string& remedy) {
      text_.add(Severity::fault, input.line, place, code, what, remedy);
      return false;
    };
    const auto* source = source_of(named.feature);
    std::vector<std::string> known;
    for (const auto& one : family_.features)
      if (one.measured()) known.push_back(one.key);
    if (source == nullptr)
      return fault("unknown_feature", "there is no feature \"" + named.feature + "\"", did_you_mean(named.feature, known));
    if (!source->measured())
      return fault("unknown_feature", "feature \"" + named.feature + "\" is no reading (" + source->kind + ")",
                   "a derived feature draws on readings and captures of the same part");
    if (!named.place.empty() &&
        std::find(source->places.begin(), source->places.end(), named.place) == source->places.end())
      return fault("unknown_place", "feature \"" + named.feature + "\" has no place \"" + named.place + "\"",
                   did_you_mean(named.place, source->places));
    if (source >= &feature)   // both stand in the family's one list
      return fault("order", "feature \"" + named.feature + "\" stands after it", "put the derived feature behind what it draws on");
    for (const char* stage : {"setup", "first_part", "in_process", "last_part", "final", "after_finish"})
      if (asked_in(feature, stage) && !asked_in(*source, stage))
        return fault("not_asked", "in the stage " + std::string(stage) + " feature \"" + named.feature + "\" is not read",
                     "give both the same stages");
    return true;
  }

  const TomlText& text_;
  const FamilySource& family_;
};

}  // namespace

ReadingsNamed readings_named(const std::string& text) {
  const auto stroke = text.find(" / ");
  if (stroke == std::string::npos) return {text, ""};
  return {text.substr(0, stroke), text.substr(stroke + 3)};
}

void read_derived(TomlTable& table, FeatureSource& feature) {
  DerivedSource out;
  const auto& text = table.whole_text();
  const auto place = "feature " + feature.key;
  out.line = table.line("computation");
  out.computation = table.needed_text("computation");
  out.formula = table.text("formula");
  each_key(text, table, "from", place, [&](TomlTable& inner, const std::string& name) {
    out.from.push_back({name, one_or_several(inner, name), inner.line(name)});
  });
  each_key(text, table, "given", place, [&](TomlTable& inner, const std::string& name) {
    DerivedSource::Given given{name, {}};
    for (const auto& value : one_or_several(inner, name))
      if (auto formula = formula_of(inner, name, value)) given.values.push_back(std::move(*formula));
    out.given.push_back(std::move(given));
  });
  each_key(text, table, "words", place, [&](TomlTable& inner, const std::string& name) {
    out.words.emplace_back(name, inner.text(name));
  });
  if (out.from.empty())
    table.fault("", "missing_key", "draws on no reading", "add from = { name = \"key of a feature\" }");
  if (const auto known = derive::computation_named(out.computation); !out.computation.empty() && !known)
    table.fault("computation", known.error().code, known.error().what, known.error().hint);
  if ((out.computation == "formula") != table.has("formula"))
    table.fault("formula", out.computation == "formula" ? "missing_key" : "contradiction",
                out.computation == "formula" ? "there is no formula" : "only the computation \"formula\" has one",
                out.computation == "formula" ? "add formula = \"(outside - bore) / 2\"" : "take it out");
  feature.derived = std::move(out);
}

void read_judging(TomlTable& table, FeatureSource& feature) {
  feature.decision = table.word("decision", {"simple", "stringent"}, "");
  feature.coverage_factor = table.quoted("coverage_factor");
  feature.surfaces = table.whole("surfaces", 1, 2, 0);
  read_budget(table.whole_text(), table, feature);
  if (!feature.budget.empty() && (table.has("uncertainty") || table.has("coverage_factor")))
    table.fault("uncertainty", "contradiction", "the budget gives the uncertainty and its coverage factor",
                "keep the budget, or the stated uncertainty");
  if (table.has("coverage_factor")) {
    const auto factor = decimal_from(feature.coverage_factor);
    if (!factor || *factor < 1 || *factor > 10)
      table.fault("coverage_factor", "out_of_range", "\"" + feature.coverage_factor + "\" is no coverage factor",
                  "a decimal from 1 to 10; left out it is 2");
    if (!table.has("uncertainty"))
      table.fault("coverage_factor", "contradiction", "there is no stated uncertainty that it belongs to",
                  "add uncertainty = \"0.002 mm\", or take it out");
  }
  check_finish(table, feature);
}

void check_derived_names(const TomlText& text, FamilySource& family) {
  NameCheck names(text, family);
  for (auto& feature : family.features)
    if (feature.derived) {
      const auto before = text.count();
      names.check(feature);
      feature.sound = feature.sound && text.count() == before;
    }
}

}  // namespace tallystick::checklist
