// A length brought to 20 degrees Celsius (temperature.hpp).
#include <cmath>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/temperature.hpp"

namespace tallystick::derive {
namespace {

Done one_of_both(std::span<const Shape> shapes, const std::string& material, const std::string& coefficient) {
  const auto* named = shape_named(shapes, material);
  const auto* stated = shape_named(shapes, coefficient);
  if (named != nullptr && stated != nullptr)
    return fail("contradiction", "a material and a coefficient are given", coefficient, "keep one of both");
  if (named == nullptr && stated == nullptr)
    return fail("missing_field", "neither a material nor a coefficient is given", material,
                "name the material, or state \"" + coefficient + "\" in micrometres per metre and kelvin");
  if (named == nullptr) return {};
  if (const auto found = material_named(named->word); !found) return at(found.error(), material);
  return {};
}

Done bodies_agree(std::span<const Shape> shapes) {
  if (auto done = one_of_both(shapes, "part", "part_expansion"); !done) return done;
  return one_of_both(shapes, "scale", "scale_expansion");
}

/// Micrometres per metre and kelvin.
Expected<double> coefficient(const Given& given, const std::string& who) {
  if (given.has(who)) {
    const auto found = material_named(given.word(who));
    if (!found) return at(found.error(), who);
    return found->micrometres_per_metre_kelvin;
  }
  const auto input = who + "_expansion";
  const double stated = given.number(input);
  constexpr double least = 0.001, most = 1000;
  if (stated != 0 && (std::abs(stated) < least || std::abs(stated) > most))
    return fail("out_of_range",
                "no material expands by " + shortest(stated) + " micrometres per metre and kelvin", input,
                "steel is about 11.5, aluminium about 23");
  return stated;
}

Expected<Warm> body(const Given& given, const std::string& who) {
  const auto micro = coefficient(given, who);
  if (!micro) return tl::unexpected(micro.error());
  Warm out;
  out.per_kelvin = *micro * 1e-6;
  const auto temperature = who + "_temperature";
  out.celsius = given.number(given.has(temperature) ? temperature : "part_temperature");
  const auto uncertain = who + "_temperature_uncertainty", expansion = who + "_expansion_uncertainty";
  if (given.has(uncertain)) out.celsius_uncertainty = given.number(uncertain);
  if (given.has(expansion)) out.per_kelvin_uncertainty = given.number(expansion) * 1e-6;
  for (const auto& [value, input] :
       {std::pair{out.celsius_uncertainty, uncertain}, {out.per_kelvin_uncertainty, expansion}})
    if (value < 0)
      return fail("out_of_range", "an uncertainty is not below 0", input, "state it as an amount");
  return out;
}

Expected<Derived> at_reference_worked(const Given& given) {
  const auto part = body(given, "part"), scale = body(given, "scale");
  if (!part) return tl::unexpected(part.error());
  if (!scale) return tl::unexpected(scale.error());
  TemperatureRange range;
  if (given.has("least_temperature")) range.least = given.number("least_temperature");
  if (given.has("greatest_temperature")) range.most = given.number("greatest_temperature");
  if (range.least > range.most)
    return fail("out_of_range", "the least temperature lies above the greatest", "least_temperature",
                "exchange them");
  const auto found = at_reference(given.number("length"), *part, *scale, range);
  if (!found) {
    const auto& where = found.error().where;
    const bool of_scale = where == "scale" && given.has("scale_temperature");
    return at(found.error(), where == "indicated" ? "length"
                             : of_scale           ? "scale_temperature"
                                                  : "part_temperature");
  }
  Working working(given.unit);
  working.exact("length", given.value("length"))
      .exact("part_temperature", given.value("part_temperature"))
      .exact("scale_temperature",
             given.value(given.has("scale_temperature") ? "scale_temperature" : "part_temperature"))
      .number("part_expansion", part->per_kelvin * 1e6)
      .number("scale_expansion", scale->per_kelvin * 1e6)
      .length("part_growth", found->part_growth)
      .length("scale_growth", found->scale_growth)
      .length("standard_uncertainty", found->standard_uncertainty);
  return of_double(given, found->millimetres, "length", std::move(working));
}

}  // namespace

std::vector<Row> temperature_rows() {
  Row row{"at_reference",
          "A length brought to 20 degrees Celsius",
          "length",
          "ISO 1:2016; uncertainty by JCGM 100:2008, 5.1.2",
          "length (1 + a scale (t scale - 20)) / (1 + a part (t part - 20)); without scale_temperature the "
          "scale is as warm as "
          "the part; uncertainty of temperatures and coefficients alone",
          {{"length"}, {"part_temperature", Kind::temperature}, {"scale_temperature?", Kind::temperature}},
          at_reference_worked,
          bodies_agree};
  for (const auto* name : {"part?", "scale?"}) row.slots.push_back({name, Kind::word});
  for (const auto* name :
       {"part_expansion?", "scale_expansion?", "part_expansion_uncertainty?", "scale_expansion_uncertainty?"})
    row.slots.push_back({name, Kind::number});
  for (const auto* name : {"least_temperature?", "greatest_temperature?"})
    row.slots.push_back({name, Kind::temperature});
  for (const auto* name : {"part_temperature_uncertainty?", "scale_temperature_uncertainty?"})
    row.slots.push_back({name, Kind::temperature_difference});
  return {row};
}

}  // namespace tallystick::derive
