// Derived features of one size: what they draw on, counted and with its units, held against the computation.
#include <algorithm>

#include "daemon/checklist/derived_source.hpp"
#include "daemon/checklist/row_worker.hpp"

namespace tallystick::checklist {

/// Readings named by a text: "key", also of a feature with a count (all of them), "key-2", "key / place". Empty: this size
/// has none.
std::vector<ReadingsOf> RowWorker::readings_of(const std::string& text, int place) const {
  auto values = texts_;
  values["n"] = std::to_string(place);
  std::vector<std::string> unknown;
  const auto named = readings_named(filled_in(text, values, unknown));
  std::vector<ReadingsOf> out;
  for (const auto& feature : worked_.edition.features)
    if (feature.key == named.feature) out.push_back({feature.key, named.place});
  if (out.empty())
    for (const auto& key : counted({named.feature})) out.push_back({key, named.place});
  return out;
}

/// Unit, count and kind of what a name stands for. All features that are drawn on are worked out before.
bool RowWorker::set_shape(const FeatureSource& source, const std::vector<ReadingsOf>& readings, derive::Shape& shape) {
  std::size_t sweeps = 0;
  shape.count = 0;
  for (const auto& of : readings) {
    const auto feature = std::find_if(worked_.edition.features.begin(), worked_.edition.features.end(),
                                      [&](const Feature& one) { return one.key == of.feature; });
    if (feature == worked_.edition.features.end()) return false;  // told at that feature
    if (feature->capture == "sweep") {
      ++sweeps;
      if (feature->turns == 0)
        return refused(source, "from, " + shape.name,
                       {"missing_key", "draws on the sweep \"" + feature->key + "\", which does not say how many turns it takes", "",
                        "give that one turns = 1 and turn_ms = 5000: the angle of a sample comes from it"},
                       source.derived->line);
    }
    shape.count += of.place.empty() ? std::max<std::size_t>(1, feature->places.size()) : 1;
    const auto unit = Unit::named(feature->unit);
    if (!unit) return false;
    if (shape.count > 1 && !convertible(*unit, shape.unit))
      return refused(source, "from, " + shape.name,
                     {"wrong_unit", "draws on readings in different units", "", "name readings of one dimension"}, source.derived->line);
    shape.unit = *unit;
  }
  if (sweeps > 0 && sweeps < readings.size())
    return refused(source, "from, " + shape.name,
                   {"wrong_shape", "draws on sweeps and on single readings", "", "name one kind"}, source.derived->line);
  shape.sweep = sweeps > 0;
  return true;
}

bool RowWorker::set_readings(const FeatureSource& source, int place, Feature& feature, std::vector<derive::Shape>& shapes) {
  for (const auto& from : source.derived->from) {
    DerivedInput input;
    input.name = from.name;
    for (const auto& text : from.of) {
      const auto readings = readings_of(text, place);
      if (readings.empty())
        return refused(source, "from, " + from.name,
                       {"unknown_feature", "draws on feature \"" + text + "\", which this size does not have", "",
                        "give both the same only_if"},
                       from.line);
      input.readings.insert(input.readings.end(), readings.begin(), readings.end());
    }
    derive::Shape shape;
    shape.name = from.name;
    if (!set_shape(source, input.readings, shape)) return false;
    shapes.push_back(std::move(shape));
    feature.derivation.inputs.push_back(std::move(input));
  }
  return true;
}

/// What the print gives: a plain number, a length, an angle or a temperature, whichever the formula comes out as.
bool RowWorker::set_given(const FeatureSource& source, Feature& feature, std::vector<derive::Shape>& shapes) {
  std::vector<Unit> tried;
  for (const char* name : {"ratio", "mm", "in", "deg", "degC", "delta-degC"})
    if (const auto unit = Unit::named(name)) tried.push_back(*unit);
  for (const auto& given : source.derived->given) {
    DerivedInput input;
    input.name = given.name;
    derive::Shape shape;
    shape.name = given.name;
    shape.count = given.values.size();
    for (std::size_t n = 0; n < given.values.size(); ++n) {
      std::optional<Quantity> value;
      Error first;
      for (const auto unit : tried) {
        if (n > 0 && !convertible(unit, shape.unit)) continue;
        auto worked = given.values[n].expression.work_out(columns_, unit);
        if (worked) {
          value = *worked;
          break;
        }
        if (first.code.empty() || (first.code == "wrong_unit" && worked.error().code != "wrong_unit")) first = worked.error();
      }
      if (!value) return refused(source, "given, " + given.name, first, given.values[n].line);
      if (n == 0) shape.unit = value->unit();
      input.unit = std::string(shape.unit.name());
      auto text = value->text(shape.unit);
      if (!text) return refused(source, "given, " + given.name, text.error(), given.values[n].line);
      input.values.push_back(std::move(*text));
    }
    shapes.push_back(std::move(shape));
    feature.derivation.inputs.push_back(std::move(input));
  }
  return true;
}

bool RowWorker::set_derived(const FeatureSource& source, int place, Unit unit, Feature& feature) {
  std::vector<derive::Shape> shapes;
  feature.derivation.computation = source.derived->computation;
  feature.derivation.formula = source.derived->formula;
  if (!set_readings(source, place, feature, shapes) || !set_given(source, feature, shapes)) return false;
  for (const auto& [name, text] : source.derived->words) {
    std::vector<std::string> unknown;
    DerivedInput input;
    input.name = name;
    input.word = filled_in(text, texts_, unknown);
    shapes.push_back({name, unit, 1, false, input.word});
    feature.derivation.inputs.push_back(std::move(input));
  }
  if (auto done = derive::check(feature.derivation.computation, feature.derivation.formula, shapes, unit); !done) {
    auto error = done.error();
    if (!error.where.empty()) error.what = error.where + ": " + error.what;
    return refused(source, "computation", error, source.derived->line);
  }
  return true;
}

}  // namespace tallystick::checklist
