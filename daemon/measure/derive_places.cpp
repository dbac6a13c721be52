// Places and faces: position, flatness, straightness, parallelism, perpendicularity.
#include <algorithm>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/form.hpp"
#include "daemon/measure/geometric.hpp"

namespace tallystick::derive {
namespace {

/// Diametral position of what stands at x, y; dx and dy go into the working.
Expected<Quantity> position_of(const Given& given, Working& working) {
  const auto dx = subtract(given.value("x"), given.value("nominal_x"));
  const auto dy = subtract(given.value("y"), given.value("nominal_y"));
  if (!dx) return at(dx.error(), "x");
  if (!dy) return at(dy.error(), "y");
  const auto found = geometric::position(*dx, *dy, Quantity());
  if (!found) return at(found.error(), "x");
  working.exact("dx", *dx).exact("dy", *dy);
  return found->deviation;
}

Expected<Derived> position_worked(const Given& given) {
  Working working(given.unit);
  const auto found = position_of(given, working);
  if (!found) return tl::unexpected(found.error());
  return of_exact(given, *found, std::move(working));
}

/// The bonus by geometric::position, whose hole at maximum material stands for every size that gains upward.
Expected<geometric::Position> with_bonus(const Given& given) {
  const auto from = given.value("bonus_from"), to = given.value("bonus_to");
  if (from == to)
    return fail("out_of_range", "both sizes are the same: there is no bonus", "bonus_to",
                "state the size at which the bonus is nothing, and the one at which it is greatest");
  geometric::Size size;
  size.hole = from < to;
  const auto limits = Limits::direct(std::min(from, to), std::max(from, to));
  if (!limits) return at(limits.error(), "bonus_to");
  size.limits = *limits;
  size.actual = given.value("size");
  const auto dx = subtract(given.value("x"), given.value("nominal_x"));
  const auto dy = subtract(given.value("y"), given.value("nominal_y"));
  if (!dx) return at(dx.error(), "x");
  if (!dy) return at(dy.error(), "y");
  const auto found = geometric::position(*dx, *dy, Quantity(), geometric::Material::maximum, &size);
  if (!found) return at(found.error(), "size");
  return found;
}

Expected<Derived> position_less_bonus_worked(const Given& given) {
  const auto found = with_bonus(given);
  if (!found) return tl::unexpected(found.error());
  Working working(given.unit);
  if (const auto position = position_of(given, working); !position) return tl::unexpected(position.error());
  const auto zero = Quantity::of_count(0, given.unit);
  const auto left =
      found->deviation < found->bonus ? Expected<Quantity>(zero) : subtract(found->deviation, found->bonus);
  if (!left) return at(left.error(), "size");
  working.exact("position", found->deviation).exact("size", given.value("size")).exact("bonus", found->bonus);
  working.count("size_within_its_limits", found->size_accepts ? 1 : 0);
  return of_exact(given, *left, std::move(working));
}

Done heights_agree_with_x(std::span<const Shape> shapes) { return equally_many(shapes, "height", "x"); }

Done heights_agree_with_x_and_y(std::span<const Shape> shapes) {
  if (auto done = equally_many(shapes, "height", "x"); !done) return done;
  return equally_many(shapes, "height", "y");
}

Expected<Derived> zone(const Given& given, const Expected<form::Deviation>& found) {
  if (!found) return at(found.error(), found.error().code == "not_determined" ? "x" : "height");
  Working working(given.unit);
  working.count("points", found->of_points.size()).length("least_squares", found->least_squares);
  for (std::size_t n = 0; n < found->of_points.size() && n < 12; ++n)
    working.length("deviation_" + std::to_string(n + 1), found->of_points[n]);
  return of_double(given, found->minimum_zone, "height", std::move(working));
}

Expected<Derived> flatness_worked(const Given& given) {
  std::vector<form::Height> points;
  const auto height = given.numbers("height"), x = given.numbers("x"), y = given.numbers("y");
  for (std::size_t n = 0; n < height.size(); ++n) points.push_back({x[n], y[n], height[n]});
  return zone(given, form::flatness(points));
}

Expected<Derived> straightness_worked(const Given& given) {
  std::vector<form::Point> points;
  const auto height = given.numbers("height"), x = given.numbers("x");
  for (std::size_t n = 0; n < height.size(); ++n) points.push_back({x[n], height[n]});
  return zone(given, form::straightness(points));
}

Expected<Derived> parallelism_worked(const Given& given) {
  const auto& heights = given.values("height");
  const auto found = geometric::parallelism(heights);
  if (!found) return at(found.error(), "height");
  const auto [low, high] = std::minmax_element(heights.begin(), heights.end());
  return of_exact(
      given, *found,
      Working(given.unit).count("points", heights.size()).exact("least", *low).exact("greatest", *high));
}

Expected<Derived> perpendicularity_worked(const Given& given) {
  const auto distance = given.value("distance");
  const auto found =
      geometric::perpendicularity(given.value("low"), given.value("high"), distance, given.value("length"));
  if (!found) return at(found.error(), distance.count() <= 0 ? "distance" : "length");
  Working working(given.unit);
  if (const auto difference = subtract(given.value("high"), given.value("low")))
    working.exact("difference", *difference);
  working.exact("distance", distance).exact("length", given.value("length"));
  return of_exact(given, *found, std::move(working));
}

constexpr std::string_view geometrical = "ISO 1101:2017 (clauses from memory)";

}  // namespace

std::vector<Row> place_rows() {
  const std::vector<Slot> where = {{"x"}, {"y"}, {"nominal_x"}, {"nominal_y"}};
  auto sized = where;
  for (const auto* name : {"size", "bonus_from", "bonus_to"}) sized.push_back({name});
  return {{"position", "Position of an axis: the diameter of the zone that it just needs", "length",
           "ISO 1101:2017; ASME Y14.5-2009, 7.3 (clauses from memory)", "2 times the root of dx^2 + dy^2",
           where, position_worked},
          {"position_less_bonus",
           "Position beyond the bonus of the size, against the tolerance as the print states it", "length",
           "ASME Y14.5-2009, 7.3 and 7.4 (clauses from memory)",
           "2 times the root of dx^2 + dy^2, less the bonus, not below 0: the tolerance grows by the bonus, "
           "so what is left is judged "
           "against the printed one; bonus = how far the size has left bonus_from towards bonus_to",
           sized, position_less_bonus_worked},
          {"flatness",
           "Flatness of a face from heights",
           "length",
           "ISO 12781-1:2011 (MZPL; name from memory)",
           "least distance of two parallel planes that hold all points",
           {{"height...", Kind::length, 4}, {"x...", Kind::length, 4}, {"y...", Kind::length, 4}},
           flatness_worked,
           heights_agree_with_x_and_y},
          {"straightness",
           "Straightness of a line from heights along it",
           "length",
           "ISO 12780-1:2011 (MZLI; name from memory)",
           "least distance of two parallel lines that hold all points",
           {{"height...", Kind::length, 3}, {"x...", Kind::length, 3}},
           straightness_worked,
           heights_agree_with_x},
          {"parallelism",
           "Parallelism of a face whose datum face lies on the plate",
           "length",
           geometrical,
           "greatest less least height",
           {{"height...", Kind::length, 2}},
           parallelism_worked},
          {"perpendicularity",
           "Perpendicularity to the plate from an indicator at two heights",
           "length",
           geometrical,
           "difference of the two readings, from their distance to the whole length",
           {{"low"}, {"high"}, {"distance"}, {"length"}},
           perpendicularity_worked}};
}

}  // namespace tallystick::derive
