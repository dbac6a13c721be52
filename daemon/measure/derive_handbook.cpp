// The handbook's computations (handbook.hpp) over named inputs.
#include <cmath>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/form.hpp"
#include "daemon/measure/handbook.hpp"

namespace tallystick::derive {
namespace {

Expected<Derived> taken(const Given& given, const Expected<double>& found, Working working) {
  if (!found) return tl::unexpected(found.error());
  return of_double(given, *found, "unit", std::move(working));
}

Expected<handbook::Taper> taper_of(const Given& given, Working& working) {
  const auto found = handbook::taper(given.number("large"), given.number("small"), given.number("length"));
  working.length("difference", given.number("large") - given.number("small"))
      .exact("length", given.value("length"));
  if (found) working.number("ratio", found->ratio);
  return found;
}

Expected<Derived> taper_ratio_worked(const Given& given) {
  Working working(given.unit);
  const auto found = taper_of(given, working);
  if (!found) return tl::unexpected(found.error());
  if (found->ratio != 0) working.number("one_to", 1 / found->ratio);
  return of_double(given, found->ratio, "unit", std::move(working));
}

Expected<Derived> taper_angle_worked(const Given& given) {
  Working working(given.unit);
  const auto found = taper_of(given, working);
  if (!found) return tl::unexpected(found.error());
  working.angle("half_angle", found->included_angle_rad / 2);
  return of_double(given, found->included_angle_rad, "unit", std::move(working));
}

Expected<Derived> sine_bar_worked(const Given& given) {
  const double blocks = given.number("blocks"), length = given.number("length");
  const auto found = handbook::sine_bar(blocks, length);
  if (!found) return tl::unexpected(found.error());
  return taken(given, found, Working(given.unit).number("sine", blocks / length));
}

Expected<Derived> two_rolls_worked(const Given& given) {
  const double large = given.number("large"), small = given.number("small"),
               apart = given.number("centre_distance");
  const auto found = handbook::two_rolls(large, small, apart);
  if (!found) return tl::unexpected(found.error());
  return taken(given, found,
               Working(given.unit)
                   .length("half_difference", (large - small) / 2)
                   .exact("centre_distance", given.value("centre_distance"))
                   .angle("half_angle", *found / 2));
}

Expected<Derived> two_balls_worked(const Given& given) {
  const double large = given.number("large"), small = given.number("small");
  const double high = given.number("depth_large"), deep = given.number("depth_small");
  const auto found = handbook::two_balls(large, small, high, deep);
  if (!found) return tl::unexpected(found.error());
  const double step = (large - small) / 2;
  return taken(given, found,
               Working(given.unit)
                   .length("difference_of_radii", step)
                   .length("distance_of_centres", deep - high - step)
                   .angle("half_angle", *found / 2));
}

Expected<Derived> dovetail_worked(const Given& given) {
  const double over = given.number("over_rolls");
  const auto found = handbook::dovetail_width(over, given.number("roll"), given.number("angle"));
  if (!found) return tl::unexpected(found.error());
  return taken(given, found,
               Working(given.unit)
                   .exact("over_rolls", given.value("over_rolls"))
                   .exact("roll", given.value("roll"))
                   .length("both_rolls_take", over - *found));
}

Expected<Derived> arc_radius_worked(const Given& given) {
  const double chord = given.number("chord"), height = given.number("height");
  const auto found = handbook::arc_radius(chord, height);
  if (!found) return tl::unexpected(found.error());
  return taken(given, found,
               Working(given.unit)
                   .exact("chord", given.value("chord"))
                   .exact("height", given.value("height"))
                   .length("half_chord", chord / 2));
}

Done points_agree(std::span<const Shape> shapes) { return equally_many(shapes, "x", "y"); }

Expected<Derived> arc_through_points_worked(const Given& given) {
  std::vector<form::Point> points;
  const auto x = given.numbers("x"), y = given.numbers("y");
  for (std::size_t n = 0; n < x.size(); ++n) points.push_back({x[n], y[n]});
  const auto found = form::circle_through(points);
  if (!found) return at(found.error(), "x");
  return of_double(given, found->radius, "x",
                   Working(given.unit)
                       .count("points", points.size())
                       .length("centre_x", found->centre.x)
                       .length("centre_y", found->centre.y)
                       .length("greatest_residual", found->greatest_residual));
}

Expected<Derived> pitch_diameter_worked(const Given& given) {
  handbook::Thread thread{given.number("pitch"), given.number("angle"), 1};
  if (given.has("starts")) {
    const double starts = given.number("starts");
    if (!(starts >= 1 && starts <= 100) || starts != std::floor(starts))
      return fail("out_of_range", "the count of starts is a whole number from 1 to 100", "starts",
                  "look at the print");
    thread.starts = static_cast<int>(starts);
  }
  const double over = given.number("over_wires"), wire = given.number("wire");
  const auto found = handbook::pitch_diameter(thread, over, wire);
  if (!found) return tl::unexpected(found.error());
  const auto best = handbook::best_wire(thread);
  if (!best) return tl::unexpected(best.error());
  Working working(given.unit);
  working.exact("over_wires", given.value("over_wires"))
      .exact("wire", given.value("wire"))
      .length("best_wire", *best)
      .length("without_lead_angle", found->pitch_diameter + found->lead_correction)
      .angle("lead_angle", found->lead_angle_rad)
      .length("lead_correction", found->lead_correction)
      .length("contact_from_pitch_line", found->contact_from_pitch_line);
  return of_double(given, found->pitch_diameter, "over_wires", std::move(working));
}

Expected<Derived> groove_diameter_worked(const Given& given) {
  const double over = given.number("over_balls"), ball = given.number("ball");
  const double angle = given.number("groove_angle"), width = given.number("width");
  const auto found = handbook::groove_diameter(over, ball, angle, width);
  if (!found) return tl::unexpected(found.error());
  return taken(given, found,
               Working(given.unit)
                   .exact("over_balls", given.value("over_balls"))
                   .exact("ball", given.value("ball"))
                   .length("balls_take", ball * (1 + 1 / std::sin(angle / 2)))
                   .length("width_gives", width / std::tan(angle / 2)));
}

Expected<double> groove_angle_of(const Given& given, Working& working) {
  const double over_small = given.number("over_small"), small = given.number("small_ball");
  const double over_large = given.number("over_large"), large = given.number("large_ball");
  const auto found = handbook::groove_angle(over_small, small, over_large, large);
  working.length("difference_of_readings", over_large - over_small)
      .length("difference_of_balls", large - small);
  if (found) working.angle("groove_angle", *found);
  return found;
}

Expected<Derived> groove_angle_worked(const Given& given) {
  Working working(given.unit);
  const auto found = groove_angle_of(given, working);
  return taken(given, found, std::move(working));
}

Expected<Derived> groove_angle_error_worked(const Given& given) {
  Working working(given.unit);
  const auto found = groove_angle_of(given, working);
  if (!found) return tl::unexpected(found.error());
  working.angle("angle_of_print", given.number("angle"));
  return of_double(given, *found - given.number("angle"), "unit", std::move(working));
}

constexpr std::string_view geometry = "plane geometry";

std::vector<Row> taper_rows() {
  return {{"taper_ratio",
           "Taper: diameter per length",
           "number",
           "ISO 3040 (ratio C; name from memory)",
           "(large - small) / length",
           {{"large"}, {"small"}, {"length"}},
           taper_ratio_worked},
          {"taper_angle",
           "Included angle of a taper from two diameters and their distance",
           "angle",
           geometry,
           "2 atan((large - small) / (2 length))",
           {{"large"}, {"small"}, {"length"}},
           taper_angle_worked},
          {"sine_bar_angle",
           "Angle of a sine bar on blocks",
           "angle",
           geometry,
           "asin(blocks / length)",
           {{"blocks"}, {"length"}},
           sine_bar_worked},
          {"two_rolls_angle",
           "Included angle of a taper by two rolls",
           "angle",
           geometry,
           "2 asin((large - small) / (2 centre_distance))",
           {{"large"}, {"small"}, {"centre_distance"}},
           two_rolls_worked},
          {"two_balls_angle",
           "Included angle of a conical bore by two balls",
           "angle",
           "common handbook form, from memory",
           "2 asin((R - r) / (depth_small - depth_large - (R - r)))",
           {{"large"}, {"small"}, {"depth_large"}, {"depth_small"}},
           two_balls_worked}};
}

std::vector<Row> groove_rows() {
  const std::vector<Slot> two_pairs = {{"over_small"}, {"small_ball"}, {"over_large"}, {"large_ball"}};
  auto with_print = two_pairs;
  with_print.push_back({"angle", Kind::angle});
  return {{"pitch_diameter",
           "Pitch diameter of a thread over three wires",
           "length",
           "NBS Handbook H28, three-wire method (from memory, checked against published rows)",
           "M - W (1 + 1 / sin a) + P cot(a) / 2 - lead correction, a half the thread's angle",
           {{"over_wires"}, {"wire"}, {"pitch"}, {"angle", Kind::angle}, {"starts?", Kind::number}},
           pitch_diameter_worked},
          {"groove_diameter",
           "Effective diameter of a V groove over two balls or pins",
           "length",
           "geometry of a circle between two lines; ISO 9982:2021",
           "M - d (1 + 1 / sin(A/2)) + width cot(A/2)",
           {{"over_balls"}, {"ball"}, {"groove_angle", Kind::angle}, {"width"}},
           groove_diameter_worked},
          {"groove_angle", "Angle of a V groove over two pairs of balls", "angle", geometry,
           "2 asin((d2 - d1) / ((M2 - M1) - (d2 - d1)))", two_pairs, groove_angle_worked},
          {"groove_angle_error", "Angle of a V groove over two pairs of balls, less the print's", "angle",
           geometry, "2 asin((d2 - d1) / ((M2 - M1) - (d2 - d1))) - angle", with_print,
           groove_angle_error_worked}};
}

}  // namespace

std::vector<Row> handbook_rows() {
  auto out = taper_rows();
  for (auto& row : groove_rows()) out.push_back(std::move(row));
  out.push_back({"dovetail_width",
                 "Width of an external dovetail over two rolls",
                 "length",
                 "published as M = W + D (1 + cot(A/2))",
                 "M - d (1 + cot(A/2)): at the sharp corners where the rolls lie",
                 {{"over_rolls"}, {"roll"}, {"angle", Kind::angle}},
                 dovetail_worked});
  out.push_back({"arc_radius",
                 "Radius of an arc from chord and height",
                 "length",
                 geometry,
                 "(chord^2 / 4 + height^2) / (2 height)",
                 {{"chord"}, {"height"}},
                 arc_radius_worked});
  out.push_back({"arc_radius_through_points",
                 "Radius of an arc through three points or more",
                 "length",
                 "circle of least squares of the distances",
                 "the circle from which the points are least far",
                 {{"x...", Kind::length, 3}, {"y...", Kind::length, 3}},
                 arc_through_points_worked,
                 points_agree});
  return out;
}

}  // namespace tallystick::derive
