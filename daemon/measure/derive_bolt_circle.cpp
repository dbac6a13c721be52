// Holes on a circle, evenly spaced on the print: counted counter-clockwise from the first, as their angles
// grow.
#include <cmath>
#include <numbers>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/form.hpp"
#include "daemon/measure/geometric.hpp"
#include "daemon/measure/rounding.hpp"

namespace tallystick::derive {
namespace {

using std::numbers::pi;

Done lists_agree(std::span<const Shape> shapes) { return equally_many(shapes, "x", "y"); }

std::vector<form::Point> holes_of(const Given& given) {
  std::vector<form::Point> out;
  const auto x = given.numbers("x"), y = given.numbers("y");
  for (std::size_t n = 0; n < x.size(); ++n) out.push_back({x[n], y[n]});
  return out;
}

Expected<form::FittedCircle> circle_of(const Given& given, Working& working) {
  const auto holes = holes_of(given);
  const auto found = form::circle_through(holes);
  if (!found) return at(found.error(), "x");
  working.count("holes", holes.size())
      .length("centre_x", found->centre.x)
      .length("centre_y", found->centre.y)
      .length("radius", found->radius)
      .length("greatest_residual", found->greatest_residual);
  return *found;
}

enum class Figure : std::uint8_t { diameter, centre_x, centre_y };

template <Figure figure>
Expected<Derived> circle_worked(const Given& given) {
  Working working(given.unit);
  const auto found = circle_of(given, working);
  if (!found) return tl::unexpected(found.error());
  const double value = figure == Figure::diameter   ? 2 * found->radius
                       : figure == Figure::centre_x ? found->centre.x
                                                    : found->centre.y;
  return of_double(given, value, "x", std::move(working));
}

double step_of(std::size_t hole, std::size_t holes) {
  return 2 * pi * static_cast<double>(hole) / static_cast<double>(holes);
}

/// The hole that is asked for, from 0; none: the worst of all.
Expected<std::optional<std::size_t>> asked_hole(const Given& given) {
  if (!given.has("hole")) return std::nullopt;
  const double hole = given.number("hole");
  const auto holes = given.values("x").size();
  if (!(hole >= 1 && hole <= static_cast<double>(holes)) || hole != std::floor(hole))
    return fail("out_of_range", "there are holes 1 to " + std::to_string(holes), "hole",
                "count from the first hole on");
  return static_cast<std::size_t>(hole) - 1;
}

/// Diametral positions of all holes about `centre`, the print's first hole at `first` radians.
Expected<std::vector<Quantity>> positions(const Given& given, form::Point centre, double first) {
  const double radius = given.number("nominal_diameter") / 2;
  if (!(radius > 0))
    return fail("out_of_range", "a diameter is above 0", "nominal_diameter", "look at the print");
  const auto& x = given.values("x");
  const auto& y = given.values("y");
  std::vector<Quantity> out;
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double angle = first + step_of(n, x.size());
    const auto nominal_x = of_millimetres(centre.x + radius * std::cos(angle), 9),
               nominal_y = of_millimetres(centre.y + radius * std::sin(angle), 9);
    if (!nominal_x) return at(nominal_x.error(), "nominal_diameter");
    if (!nominal_y) return at(nominal_y.error(), "nominal_diameter");
    const auto dx = subtract(x[n], *nominal_x), dy = subtract(y[n], *nominal_y);
    if (!dx) return at(dx.error(), "x");
    if (!dy) return at(dy.error(), "y");
    const auto found = geometric::position(*dx, *dy, Quantity());
    if (!found) return at(found.error(), "x");
    out.push_back(found->deviation);
  }
  return out;
}

Expected<Derived> judged(const Given& given, const Expected<std::vector<Quantity>>& found, Working working) {
  if (!found) return tl::unexpected(found.error());
  const auto asked = asked_hole(given);
  if (!asked) return tl::unexpected(asked.error());
  std::size_t worst = 0;
  for (std::size_t n = 0; n < found->size(); ++n) {
    if ((*found)[n] > (*found)[worst]) worst = n;
    working.exact("position_" + std::to_string(n + 1), (*found)[n]);
  }
  working.count(*asked ? "hole" : "worst_hole", asked->value_or(worst) + 1);
  return of_exact(given, (*found)[asked->value_or(worst)], std::move(working));
}

Expected<Derived> position_worked(const Given& given) {
  Working working(given.unit);
  if (const auto circle = circle_of(given, working); !circle) return tl::unexpected(circle.error());
  return judged(given, positions(given, {}, given.number("first_hole")), std::move(working));
}

/// How far the holes as a whole are turned against angles 0, 1/n, 2/n of a turn: the direction of the mean.
Expected<double> turned_by(const std::vector<form::Point>& holes, form::Point centre) {
  double sine = 0, cosine = 0;
  for (std::size_t n = 0; n < holes.size(); ++n) {
    const double off = std::atan2(holes[n].y - centre.y, holes[n].x - centre.x) - step_of(n, holes.size());
    sine += std::sin(off);
    cosine += std::cos(off);
  }
  if (std::hypot(sine, cosine) < 0.5 * static_cast<double>(holes.size()))
    return fail("not_determined", "the holes are not in the print's order and spacing", "x",
                "list them as they follow each other counter-clockwise");
  return std::atan2(sine, cosine);
}

Expected<Derived> pattern_worked(const Given& given) {
  Working working(given.unit);
  const auto circle = circle_of(given, working);
  if (!circle) return tl::unexpected(circle.error());
  const auto first = given.has("first_hole") ? Expected<double>(given.number("first_hole"))
                                             : turned_by(holes_of(given), circle->centre);
  if (!first) return tl::unexpected(first.error());
  working.angle("first_hole", *first);
  return judged(given, positions(given, circle->centre, *first), std::move(working));
}

constexpr std::string_view squares = "circle of least squares of the distances";
constexpr std::string_view geometrical = "ISO 1101:2017; ASME Y14.5-2009, 7.3 (clauses from memory)";

}  // namespace

std::vector<Row> bolt_circle_rows() {
  const std::vector<Slot> holes = {{"x...", Kind::length, 3}, {"y...", Kind::length, 3}};
  auto placed = holes, pattern = holes;
  for (auto* slots : {&placed, &pattern}) slots->push_back({"nominal_diameter"});
  placed.push_back({"first_hole", Kind::angle});
  pattern.push_back({"first_hole?", Kind::angle});
  for (auto* slots : {&placed, &pattern}) slots->push_back({"hole?", Kind::number});
  return {
      {"bolt_circle_diameter", "Diameter of the circle through holes", "length", squares,
       "2 times the fitted radius", holes, circle_worked<Figure::diameter>, lists_agree},
      {"bolt_circle_centre_x", "Centre of the circle through holes, along x", "length", squares,
       "the fitted centre", holes, circle_worked<Figure::centre_x>, lists_agree},
      {"bolt_circle_centre_y", "Centre of the circle through holes, along y", "length", squares,
       "the fitted centre", holes, circle_worked<Figure::centre_y>, lists_agree},
      {"bolt_circle_position",
       "Position of holes on a circle about the datum (the origin of x and y): one, or the worst", "length",
       geometrical,
       "2 times the root of dx^2 + dy^2 to the print's place of each hole, evenly spaced from the first on",
       placed, position_worked, lists_agree},
      {"bolt_circle_pattern", "Position of holes on a circle about their own centre: one, or the worst",
       "length", geometrical,
       "as bolt_circle_position, about the fitted centre; without first_hole the print's places are turned "
       "as the holes lie",
       pattern, pattern_worked, lists_agree}};
}

}  // namespace tallystick::derive
