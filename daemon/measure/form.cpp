#include "daemon/measure/form.hpp"

#include <algorithm>
#include <numbers>

#include "daemon/measure/few_variables.hpp"

namespace tallystick::form {
namespace {

using fit::Constraint;
using std::numbers::pi;

constexpr double widest_gap = 2 * pi / 3;

Error too_few(std::size_t found, std::size_t needed) {
  return {"too_few_points",
          std::to_string(found) + " points are given, at least " + std::to_string(needed) + " are needed",
          {},
          "take more readings"};
}

Done all_finite(auto begin, auto end, auto... values) {
  for (std::size_t n = 0; begin != end; ++begin, ++n)
    if (!(std::isfinite(std::invoke(values, *begin)) && ...))
      return fail("not_a_number", "reading " + std::to_string(n + 1) + " is no finite number");
  return {};
}

double greatest_gap(std::span<const PolarReading> readings) {
  std::vector<double> angles;
  angles.reserve(readings.size());
  for (const auto& reading : readings) {
    const double turned = std::fmod(reading.angle_rad, 2 * pi);
    angles.push_back(turned < 0 ? turned + 2 * pi : turned);
  }
  std::sort(angles.begin(), angles.end());
  double out = angles.front() + 2 * pi - angles.back();
  for (std::size_t n = 1; n < angles.size(); ++n) out = std::max(out, angles[n] - angles[n - 1]);
  return out;
}

/// Cosine, sine and the reading less its middle, in units of the greatest amount: the programs want numbers
/// about 1.
struct Scaled {
  double cosine = 0, sine = 0, value = 0;
};

struct Scaling {
  std::vector<Scaled> readings;
  double middle = 0, unit = 1;
};

Scaling scaled(std::span<const PolarReading> readings) {
  Scaling out;
  const auto [low, high] =
      std::minmax_element(readings.begin(), readings.end(),
                          [](const auto& a, const auto& b) { return a.millimetres < b.millimetres; });
  out.middle = (low->millimetres + high->millimetres) / 2;
  out.unit = (high->millimetres - low->millimetres) / 2;
  if (!(out.unit > 0)) out.unit = 1;
  for (const auto& reading : readings)
    out.readings.push_back({std::cos(reading.angle_rad), std::sin(reading.angle_rad),
                            (reading.millimetres - out.middle) / out.unit});
  return out;
}

Circle with_residuals(const Scaling& scaling, double mean, double x, double y) {
  double high = -1e300, low = 1e300;
  for (const auto& reading : scaling.readings) {
    const double left = reading.value - mean - x * reading.cosine - y * reading.sine;
    high = std::max(high, left);
    low = std::min(low, left);
  }
  const double unit = scaling.unit;
  return {x * unit,    y * unit, mean * unit + scaling.middle, (high - low) * unit, high * unit,
          -low * unit, true};
}

std::optional<std::array<double, 3>> least_squares(const Scaling& scaling) {
  std::array<std::array<double, 3>, 3> normal{};
  std::array<double, 3> right{};
  for (const auto& reading : scaling.readings) {
    const std::array<double, 3> row = {1, reading.cosine, reading.sine};
    for (std::size_t a = 0; a < 3; ++a) {
      right[a] += row[a] * reading.value;
      for (std::size_t b = 0; b < 3; ++b) normal[a][b] += row[a] * row[b];
    }
  }
  return fit::solved(normal, right);
}

Expected<Circle> minimum_zone(const Scaling& scaling) {
  std::vector<Constraint<4>> rows;
  rows.reserve(2 * scaling.readings.size());
  for (const auto& r : scaling.readings) {
    rows.push_back({{1, r.cosine, r.sine, 1}, r.value});
    rows.push_back({{-1, -r.cosine, -r.sine, 1}, -r.value});
  }
  const auto found = fit::least<4>({0, 0, 0, 1}, rows);
  if (!found)
    return fail("not_determined", "the readings determine no minimum zone", {}, "take readings all round");
  return with_residuals(scaling, found->x[0], found->x[1], found->x[2]);
}

/// Of all circles of this `mean` that touch from the same side, the centre of least roundness.
std::optional<std::array<double, 3>> least_round(const Scaling& scaling, double side, double mean) {
  constexpr double slack = 1e-12;  // the mean is known as well as that: without it nothing might touch
  std::vector<Constraint<3>> rows;
  rows.reserve(2 * scaling.readings.size());
  for (const auto& r : scaling.readings) {
    const double left = side * (r.value - mean);
    rows.push_back({{side * r.cosine, side * r.sine, 0}, left - slack});
    rows.push_back({{-side * r.cosine, -side * r.sine, 1}, -left});
  }
  const auto found = fit::least<3>({0, 0, 1}, rows);
  if (!found) return {};
  return std::array{mean, found->x[0], found->x[1]};
}

/// `side` 1: the smallest circle around all readings; -1: the largest inside them.
Expected<Circle> touching(const Scaling& scaling, double side) {
  std::vector<Constraint<3>> rows;
  rows.reserve(scaling.readings.size());
  for (const auto& r : scaling.readings)
    rows.push_back({{side, side * r.cosine, side * r.sine}, side * r.value});
  const auto found = fit::least<3>({side, 0, 0}, rows);
  if (!found)
    return fail("not_determined", "the readings determine no circle", {}, "take readings all round");
  auto chosen = found->x;
  if (!found->unique)
    if (const auto rounder = least_round(scaling, side, chosen[0])) chosen = *rounder;
  auto out = with_residuals(scaling, chosen[0], chosen[1], chosen[2]);
  out.unique = found->unique;
  return out;
}

}  // namespace

Expected<Section> section(std::span<const PolarReading> readings) {
  if (readings.size() < 4) return tl::unexpected(too_few(readings.size(), 4));
  if (auto done =
          all_finite(readings.begin(), readings.end(), &PolarReading::angle_rad, &PolarReading::millimetres);
      !done)
    return tl::unexpected(done.error());
  if (const double gap = greatest_gap(readings); gap > widest_gap + 1e-9)
    return fail("no_full_turn",
                "between two neighbouring readings " + std::to_string(static_cast<int>(gap * 180 / pi)) +
                    " degrees are not covered",
                {}, "turn the part once round, or take readings at angles of at most 120 degrees");
  const auto scaling = scaled(readings);
  const auto squares = least_squares(scaling);
  if (!squares)
    return fail("not_determined", "the readings determine no circle", {}, "take readings all round");
  Section out;
  out.least_squares = with_residuals(scaling, (*squares)[0], (*squares)[1], (*squares)[2]);
  out.runout = 0;
  double lowest = readings.front().millimetres, highest = lowest, sum = 0;
  for (std::size_t n = 0; n < readings.size(); ++n) {
    lowest = std::min(lowest, readings[n].millimetres);
    highest = std::max(highest, readings[n].millimetres);
    const auto& r = scaling.readings[n];
    const double left = r.value - (*squares)[0] - (*squares)[1] * r.cosine - (*squares)[2] * r.sine;
    sum += left * left;
  }
  out.runout = highest - lowest;
  out.eccentricity = std::hypot(out.least_squares.x, out.least_squares.y);
  out.direction_rad = std::atan2(out.least_squares.y, out.least_squares.x);
  if (out.direction_rad < 0) out.direction_rad += 2 * pi;
  const auto count = static_cast<double>(readings.size());
  if (readings.size() > 3)
    out.eccentricity_error = scaling.unit * std::sqrt(sum / (count - 3)) * std::sqrt(2 / count);
  const auto take = [](Circle& place, Expected<Circle> found) -> Done {
    if (!found) return tl::unexpected(found.error());
    place = *found;
    return {};
  };
  if (auto done = take(out.minimum_zone, minimum_zone(scaling)); !done) return tl::unexpected(done.error());
  if (auto done = take(out.circumscribed, touching(scaling, 1)); !done) return tl::unexpected(done.error());
  if (auto done = take(out.inscribed, touching(scaling, -1)); !done) return tl::unexpected(done.error());
  return out;
}

Expected<std::vector<PolarReading>> over_turns(std::span<const double> millimetres, double turns) {
  if (millimetres.size() < 4) return tl::unexpected(too_few(millimetres.size(), 4));
  if (!(turns > 0) || !std::isfinite(turns))
    return fail("out_of_range", "the count of turns must be above 0");
  std::vector<PolarReading> out;
  out.reserve(millimetres.size());
  const double step = 2 * pi * turns / static_cast<double>(millimetres.size());
  for (std::size_t n = 0; n < millimetres.size(); ++n)
    out.push_back({step * static_cast<double>(n), millimetres[n]});
  return out;
}

namespace {

/// x^2 + y^2 = 2 a x + 2 b y + c, in coordinates about the points' middle. Nothing: they lie in one line.
std::optional<FittedCircle> algebraic(std::span<const Point> points, Point middle, double unit) {
  std::array<std::array<double, 3>, 3> normal{};
  std::array<double, 3> right{};
  for (const auto& point : points) {
    const double x = (point.x - middle.x) / unit, y = (point.y - middle.y) / unit;
    const std::array<double, 3> row = {2 * x, 2 * y, 1};
    for (std::size_t a = 0; a < 3; ++a) {
      right[a] += row[a] * (x * x + y * y);
      for (std::size_t b = 0; b < 3; ++b) normal[a][b] += row[a] * row[b];
    }
  }
  // In units of the points' spread a line gives a pivot of rounding only.
  for (auto& row : normal)
    for (auto& cell : row) cell /= static_cast<double>(points.size());
  for (auto& cell : right) cell /= static_cast<double>(points.size());
  const auto found = fit::solved(normal, right);
  if (!found) return {};
  const auto [a, b, c] = *found;
  const double square = c + a * a + b * b;
  if (!(square > 0) || !std::isfinite(square) || square > 1e10) return {};
  return FittedCircle{{a, b}, std::sqrt(square), 0, 0};
}

}  // namespace

Expected<FittedCircle> circle_through(std::span<const Point> points) {
  if (points.size() < 3) return tl::unexpected(too_few(points.size(), 3));
  if (auto done = all_finite(points.begin(), points.end(), &Point::x, &Point::y); !done)
    return tl::unexpected(done.error());
  Point middle;
  for (const auto& point : points) {
    middle.x += point.x / static_cast<double>(points.size());
    middle.y += point.y / static_cast<double>(points.size());
  }
  double unit = 0;
  for (const auto& point : points) unit = std::max(unit, std::hypot(point.x - middle.x, point.y - middle.y));
  auto circle = unit > 0 ? algebraic(points, middle, unit) : std::nullopt;
  if (!circle)
    return fail("collinear", "the points lie in one line, or in one place: no circle goes through them", {},
                "take points farther round");
  for (circle->rounds = 1; circle->rounds < 100; ++circle->rounds) {
    std::array<std::array<double, 3>, 3> normal{};
    std::array<double, 3> right{};
    for (const auto& point : points) {
      const double x = (point.x - middle.x) / unit - circle->centre.x,
                   y = (point.y - middle.y) / unit - circle->centre.y;
      const double distance = std::hypot(x, y);
      if (distance < 1e-12) continue;
      const std::array<double, 3> row = {x / distance, y / distance, 1};
      for (std::size_t a = 0; a < 3; ++a) {
        right[a] += row[a] * (distance - circle->radius);
        for (std::size_t b = 0; b < 3; ++b) normal[a][b] += row[a] * row[b];
      }
    }
    const auto step = fit::solved(normal, right);
    if (!step) break;
    circle->centre.x += (*step)[0];
    circle->centre.y += (*step)[1];
    circle->radius += (*step)[2];
    if (std::abs((*step)[0]) + std::abs((*step)[1]) + std::abs((*step)[2]) < 1e-14 * (1 + circle->radius))
      break;
  }
  FittedCircle out{{circle->centre.x * unit + middle.x, circle->centre.y * unit + middle.y},
                   circle->radius * unit,
                   0,
                   circle->rounds};
  for (const auto& point : points)
    out.greatest_residual =
        std::max(out.greatest_residual,
                 std::abs(std::hypot(point.x - out.centre.x, point.y - out.centre.y) - out.radius));
  if (!std::isfinite(out.radius))
    return fail("collinear", "the points lie in one line: no circle goes through them", {},
                "take points farther round");
  return out;
}

}  // namespace tallystick::form
