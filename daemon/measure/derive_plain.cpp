// Means, spans and differences: exact, in the print's unit.
#include <algorithm>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/reduction.hpp"
#include "daemon/measure/whole.hpp"

namespace tallystick::derive {
namespace {

using whole::Wide;

Expected<Quantity> narrowed(Wide count, Unit unit, std::string_view input) {
  if (!whole::fits(count))
    return fail("overflow", "the result does not fit its exact count", std::string(input),
                "look at the values that went in");
  return Quantity::of_count(whole::narrow(count), unit);
}

/// Half of a count, half to even.
Expected<Quantity> half_of(Wide count, Unit unit, std::string_view input) {
  return narrowed(whole::divide_half_even(count, 2), unit, input);
}

template <Reduction reduction>
Expected<Derived> reduced(const Given& given) {
  const auto& values = given.values("values");
  // reduce wants a limit, in the unit of its result; its verdict is not looked at.
  const auto unit =
      reduction == Reduction::range ? difference_unit(values.front().unit()) : values.front().unit();
  const auto limits = Limits::direct(Quantity::of_count(0, unit), {});
  if (!limits) return at(limits.error(), "values");
  const auto found = reduce(reduction, values, *limits);
  if (!found) return at(found.error(), "values");
  Working working(given.unit);
  working.count("values", values.size());
  if (reduction == Reduction::mean && given.unit.dimension() != Dimension::temperature) {
    Wide sum = 0;
    for (const auto& value : values) sum += value.count();
    if (whole::fits(sum)) working.exact("sum", Quantity::of_count(whole::narrow(sum), values.front().unit()));
  }
  working.exact("least", found->least).exact("greatest", found->greatest);
  return of_exact(given, found->value, std::move(working));
}

Expected<Derived> difference_worked(const Given& given) {
  const auto difference = subtract(given.value("a"), given.value("b"));
  if (!difference) return at(difference.error(), "a");
  Working working(given.unit);
  working.exact("a", given.value("a")).exact("b", given.value("b"));
  return of_exact(given, *difference, std::move(working));
}

Expected<Derived> wall_worked(const Given& given) {
  const auto outside = given.value("outside"), inside = given.value("inside");
  if (outside < inside)
    return fail("out_of_range", "the inside is larger than the outside", "inside",
                "look whether the two were exchanged");
  const auto twice = Wide{outside.count()} - inside.count();
  const auto difference = narrowed(twice, outside.unit(), "outside");
  const auto half = half_of(twice, outside.unit(), "outside");
  if (!difference) return tl::unexpected(difference.error());
  if (!half) return tl::unexpected(half.error());
  Working working(given.unit);
  working.exact("outside", outside).exact("inside", inside).exact("difference", *difference);
  return of_exact(given, *half, std::move(working));
}

Expected<Derived> depth_worked(const Given& given) {
  const auto far = given.value("far"), near = given.value("near");
  if (far < near)
    return fail("out_of_range", "the near face lies farther than the far one", "near",
                "look whether the two were exchanged");
  const auto depth = subtract(far, near);
  if (!depth) return at(depth.error(), "far");
  Working working(given.unit);
  working.exact("far", far).exact("near", near);
  return of_exact(given, *depth, std::move(working));
}

Done centre_distance_agrees(std::span<const Shape> shapes) {
  const Shape* found = nullptr;
  for (const auto* name : {"over", "between", "edge"}) {
    const auto* shape = shape_named(shapes, name);
    if (shape == nullptr) continue;
    if (found != nullptr)
      return fail("contradiction", quoted(found->name) + " is given besides", shape->name,
                  "give one: what was measured over both, between both, or from an edge");
    found = shape;
  }
  if (found == nullptr)
    return fail("missing_field", "what was measured is not given", "over",
                "give one of \"over\" (over both), \"between\" (between both) and \"edge\" (from an edge to "
                "the one)");
  const bool second = shape_named(shapes, "diameter_b") != nullptr;
  if (found->name == "edge" && second)
    return fail("contradiction", "from an edge there is one diameter only", "diameter_b", "leave it out");
  if (found->name != "edge" && !second)
    return fail("missing_field", "centre_distance needs an input \"diameter_b\"", "diameter_b",
                "name the reading or the constant that it is");
  return {};
}

Expected<Derived> centre_distance_worked(const Given& given) {
  const std::string_view measured = given.has("over") ? "over" : given.has("between") ? "between" : "edge";
  const auto reading = given.value(measured), a = given.value("diameter_a");
  const auto b = given.has("diameter_b") ? given.value("diameter_b") : Quantity::of_count(0, a.unit());
  for (const auto* name : {"diameter_a", "diameter_b"})
    if (given.has(name) && given.value(name).count() <= 0)
      return fail("out_of_range", "a diameter is above 0", name, "look at what was measured");
  const Wide diameters = Wide{a.count()} + b.count();
  const Wide twice = 2 * Wide{reading.count()} + (measured == "over" ? -diameters : diameters);
  if (twice <= 0)
    return fail("out_of_range", "no distance is left", std::string(measured),
                "look at reading and diameters");
  const auto half = half_of(diameters, a.unit(), "diameter_a");
  const auto distance = half_of(twice, reading.unit(), measured);
  if (!half) return tl::unexpected(half.error());
  if (!distance) return tl::unexpected(distance.error());
  Working working(given.unit);
  working.exact(measured, reading).exact("diameter_a", a);
  if (given.has("diameter_b")) working.exact("diameter_b", b);
  working.exact(given.has("diameter_b") ? "both_radii" : "radius", *half);
  return of_exact(given, *distance, std::move(working));
}

constexpr std::string_view practice = "common practice, no source";

Row reduction_row(std::string_view name, std::string_view about, std::string_view working, std::size_t least,
                  Expected<Derived> (*work)(const Given&)) {
  Row row{name, about, "any", practice, working, {{"values...", Kind::any, least}}, work};
  row.of_difference = name == "range";
  return row;
}

}  // namespace

std::vector<Row> plain_rows() {
  Row difference{"difference",
                 "Difference of two values",
                 "any",
                 practice,
                 "a - b",
                 {{"a", Kind::any}, {"b", Kind::any}},
                 difference_worked};
  difference.of_difference = true;
  return {reduction_row("mean", "Mean of several readings", "sum / count, the sum exact", 1,
                        reduced<Reduction::mean>),
          reduction_row("median", "Median of several readings", "the middle one of them in order", 1,
                        reduced<Reduction::median>),
          reduction_row("range", "Greatest less least: out-of-round from readings at angles",
                        "greatest - least", 2, reduced<Reduction::range>),
          reduction_row("greatest", "Greatest of several readings", "the greatest", 1,
                        reduced<Reduction::greatest>),
          reduction_row("least", "Least of several readings", "the least", 1, reduced<Reduction::least>),
          difference,
          {"wall",
           "Wall thickness of a tube or bushing",
           "length",
           practice,
           "(outside - inside) / 2",
           {{"outside"}, {"inside"}},
           wall_worked},
          {"depth",
           "Depth from two heights",
           "length",
           practice,
           "far - near",
           {{"far"}, {"near"}},
           depth_worked},
          {"centre_distance",
           "Distance of two centres, or of a centre from an edge, from edges and diameters",
           "length",
           practice,
           "over - (a + b) / 2; between + (a + b) / 2; edge + a / 2",
           {{"over?"}, {"between?"}, {"edge?"}, {"diameter_a"}, {"diameter_b?"}},
           centre_distance_worked,
           centre_distance_agrees}};
}

}  // namespace tallystick::derive
