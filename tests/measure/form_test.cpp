// Form: what noise, turning, oval parts and bad input do; each circle against what defines it.
#include "daemon/measure/form.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <numbers>
#include <random>

using namespace tallystick;
using namespace tallystick::form;
using std::numbers::pi;

namespace {

using Random = std::mt19937_64;
double within(Random& random, double least, double most) {
  return std::uniform_real_distribution<double>(least, most)(random);
}

/// Irregular angles all round, some lobes, noise.
std::vector<PolarReading> any_section(Random& random, std::size_t count) {
  std::vector<PolarReading> out;
  const double turned = within(random, 0, 2 * pi), x = within(random, -0.1, 0.1),
               y = within(random, -0.1, 0.1);
  const int lobes = static_cast<int>(within(random, 2, 9));
  const double lobe = within(random, 0, 0.01), noise = within(random, 0, 0.003), mean = within(random, -5, 5);
  for (std::size_t n = 0; n < count; ++n) {
    const double angle =
        turned + 2 * pi * (static_cast<double>(n) + within(random, 0, 0.4)) / static_cast<double>(count);
    out.push_back({angle, mean + x * std::cos(angle) + y * std::sin(angle) + lobe * std::cos(lobes * angle) +
                              within(random, -noise, noise)});
  }
  return out;
}

double left(const PolarReading& reading, const Circle& circle) {
  return reading.millimetres - circle.mean - circle.x * std::cos(reading.angle_rad) -
         circle.y * std::sin(reading.angle_rad);
}

}  // namespace

TEST_CASE("10,000 sections: the circles are what they are called, and no near one is better") {
  Random random(20261125);
  for (int turn = 0; turn < 10'000; ++turn) {
    const auto readings = any_section(random, 5 + static_cast<std::size_t>(turn % 40));
    const auto found = section(readings);
    REQUIRE(found);
    double outside = -1, inside = 1, squares = 0;
    for (const auto& reading : readings) {
      outside = std::max(outside, left(reading, found->circumscribed));
      inside = std::min(inside, left(reading, found->inscribed));
      squares += left(reading, found->least_squares) * left(reading, found->least_squares);
    }
    CHECK(outside <= 1e-11);
    CHECK(inside >= -1e-11);
    CHECK(found->minimum_zone.roundness <= found->least_squares.roundness + 1e-11);
    CHECK(found->minimum_zone.roundness <= found->circumscribed.roundness + 1e-11);
    CHECK(found->minimum_zone.roundness <= found->inscribed.roundness + 1e-11);
    CHECK(found->runout >= found->minimum_zone.roundness - 1e-11);
    // Any other centre: a wider zone, more squares, a larger circle around, a smaller one inside.
    for (int other = 0; other < 6; ++other) {
      const double dx = within(random, -0.002, 0.002), dy = within(random, -0.002, 0.002);
      const auto moved = [&](const Circle& from) {
        Circle out = from;
        out.x += dx;
        out.y += dy;
        double high = -1e9, low = 1e9, sum = 0, all = 0;
        for (const auto& reading : readings) {
          const double by = left(reading, out);
          high = std::max(high, by);
          low = std::min(low, by);
          all += by;
        }
        for (const auto& reading : readings) {
          const double by = left(reading, out) - all / static_cast<double>(readings.size());
          sum += by * by;
        }
        return std::array{high, low, sum};
      };
      const auto zone = moved(found->minimum_zone);
      CHECK(zone[0] - zone[1] >= found->minimum_zone.roundness - 1e-11);
      CHECK(moved(found->least_squares)[2] >= squares - 1e-12);
      CHECK(moved(found->circumscribed)[0] >= -1e-11);  // its mean would have to grow
      CHECK(moved(found->inscribed)[1] <= 1e-11);
    }
  }
}

TEST_CASE("turning the sweep's start turns the direction, and changes nothing else: 10,000 sweeps") {
  Random random(7);
  for (int turn = 0; turn < 10'000; ++turn) {
    auto readings = any_section(random, 12);
    const auto before = section(readings);
    const double by = within(random, -10, 10);
    for (auto& reading : readings) reading.angle_rad += by;
    std::rotate(readings.begin(), readings.begin() + turn % 12, readings.end());
    const auto after = section(readings);
    REQUIRE(before);
    REQUIRE(after);
    CHECK(std::abs(after->eccentricity - before->eccentricity) < 1e-11);
    CHECK(std::abs(after->minimum_zone.roundness - before->minimum_zone.roundness) < 1e-11);
    CHECK(std::abs(after->least_squares.roundness - before->least_squares.roundness) < 1e-11);
    CHECK(std::abs(after->circumscribed.mean - before->circumscribed.mean) < 1e-11);
    CHECK(std::abs(after->inscribed.mean - before->inscribed.mean) < 1e-11);
    const double turned = std::remainder(after->direction_rad - before->direction_rad - by, 2 * pi);
    if (before->eccentricity > 1e-4) CHECK(std::abs(turned) < 1e-6);
  }
}

TEST_CASE("a known eccentricity comes back under noise with the error that theory predicts: s sqrt(2 / n)") {
  // Variance of a harmonic's coefficient over n equally spaced readings: 2 s^2 / n (linear least squares; any
  // textbook).
  Random random(42);
  constexpr double noise = 0.002, x = 0.030, y = -0.040;
  constexpr std::size_t count = 72, sweeps = 2'000;
  std::normal_distribution<double> scatter(0, noise);
  double sum_x = 0, sum_xx = 0, predicted = 0;
  for (std::size_t sweep = 0; sweep < sweeps; ++sweep) {
    std::vector<double> heights;
    for (std::size_t n = 0; n < count; ++n) {
      const double angle = 2 * pi * static_cast<double>(n) / count;
      heights.push_back(x * std::cos(angle) + y * std::sin(angle) + scatter(random));
    }
    const auto found = section(*over_turns(heights, 1));
    REQUIRE(found);
    sum_x += found->least_squares.x - x;
    sum_xx += (found->least_squares.x - x) * (found->least_squares.x - x);
    predicted += found->eccentricity_error;
  }
  const double theory = noise * std::sqrt(2.0 / count);
  CHECK(std::abs(sum_x / sweeps) < 4 * theory / std::sqrt(sweeps));
  CHECK(std::abs(std::sqrt(sum_xx / sweeps) / theory - 1) < 0.07);
  CHECK(std::abs(predicted / sweeps / theory - 1) < 0.02);
}

TEST_CASE("several turns of one part say the same as one, and 20,000 samples are no burden") {
  std::vector<double> once, thrice;
  for (int n = 0; n < 20'000; ++n) {
    const double angle = 2 * pi * n / 20'000;
    once.push_back(0.05 * std::cos(angle) + 0.004 * std::cos(3 * angle));
    thrice.push_back(0.05 * std::cos(3 * angle) + 0.004 * std::cos(9 * angle));
  }
  const auto one = section(*over_turns(once, 1));
  const auto three = section(*over_turns(thrice, 3));
  REQUIRE(one);
  REQUIRE(three);
  CHECK(std::abs(one->eccentricity - 0.05) < 1e-12);
  CHECK(std::abs(one->minimum_zone.roundness - 0.008) < 1e-9);
  CHECK(std::abs(three->eccentricity - 0.05) < 1e-12);
}

TEST_CASE("what determines no circle is refused with the reason") {
  const auto code = [](std::vector<PolarReading> readings) {
    const auto found = section(readings);
    return found ? std::string("fits") : found.error().code;
  };
  CHECK(code({{0, 1}, {2, 1}, {4, 1}}) == "too_few_points");
  CHECK(code({{0, 1}, {1, 1}, {2, 1}, {3, 1}}) == "no_full_turn");
  CHECK(code({{0, 1}, {2, 1}, {4, std::nan("")}, {5, 1}}) == "not_a_number");
  CHECK(code({{0, 1}, {pi / 2, 1}, {pi, 1}, {3 * pi / 2, 1}}) == "fits");
  CHECK(over_turns(std::vector<double>(10, 1.0), 0).error().code == "out_of_range");
  CHECK(circle_through(std::vector<Point>{{0, 0}, {1, 1}}).error().code == "too_few_points");
  CHECK(circle_through(std::vector<Point>{{0, 0}, {1, 1}, {2, 2}, {5, 5}}).error().code == "collinear");
  CHECK(circle_through(std::vector<Point>{{3, 3}, {3, 3}, {3, 3}}).error().code == "collinear");
  CHECK(straightness(std::vector<Point>{{1, 0}, {1, 1}, {1, 2}}).error().code == "not_determined");
  CHECK(straightness(std::vector<Point>{{1, 0}, {2, 1}}).error().code == "too_few_points");
  CHECK(flatness(std::vector<Height>{{0, 0, 1}, {1, 1, 2}, {2, 2, 3}, {3, 3, 4}}).error().code ==
        "not_determined");
}

TEST_CASE("a bolt circle: centre and radius come back; moved and turned it is the same: 10,000 circles") {
  Random random(11);
  for (int turn = 0; turn < 10'000; ++turn) {
    const Point centre{within(random, -500, 500), within(random, -500, 500)};
    const double radius = within(random, 1, 300), error = within(random, 0, 0.01);
    std::vector<Point> points, moved;
    const Point by{within(random, -100, 100), within(random, -100, 100)};
    const std::size_t count = 3 + static_cast<std::size_t>(turn % 6);
    for (std::size_t n = 0; n < count; ++n) {
      const double angle =
          2 * pi * static_cast<double>(n) / static_cast<double>(count) + within(random, -0.2, 0.2);
      const double at = radius + within(random, -error, error);
      points.push_back({centre.x + at * std::cos(angle), centre.y + at * std::sin(angle)});
      moved.push_back({points.back().x + by.x, points.back().y + by.y});
    }
    const auto found = circle_through(points), there = circle_through(moved);
    REQUIRE(found);
    REQUIRE(there);
    CHECK(std::abs(found->radius - radius) < 3 * error + 1e-9);
    CHECK(std::abs(there->radius - found->radius) < 1e-8);
    CHECK(std::abs(there->centre.x - by.x - found->centre.x) < 1e-8);
    CHECK(std::abs(there->centre.y - by.y - found->centre.y) < 1e-8);
    // Normal equations: no first-order change of the sum of squares is left.
    double dx = 0, dy = 0, dr = 0;
    for (const auto& point : points) {
      const double x = point.x - found->centre.x, y = point.y - found->centre.y, distance = std::hypot(x, y);
      const double residual = distance - found->radius;
      dx += residual * x / distance;
      dy += residual * y / distance;
      dr += residual;
    }
    CHECK(std::abs(dx) + std::abs(dy) + std::abs(dr) < 1e-7);
  }
}

TEST_CASE("straightness and flatness: worked by hand, and never wider than the fitted line") {
  // Three points: the minimum zone of a line is the middle one's height over the chord of the others.
  const auto three = straightness(std::vector<Point>{{0, 0}, {50, 0.010}, {100, 0}});
  REQUIRE(three);
  CHECK(std::abs(three->minimum_zone - 0.010) < 1e-12);
  // Four corners of a saddle, +h and -h by turns: no tilt helps, the zone is 2 h.
  const auto saddle =
      flatness(std::vector<Height>{{0, 0, 0.005}, {10, 0, -0.005}, {10, 10, 0.005}, {0, 10, -0.005}});
  REQUIRE(saddle);
  CHECK(std::abs(saddle->minimum_zone - 0.010) < 1e-12);
  Random random(3);
  for (int turn = 0; turn < 3'000; ++turn) {
    std::vector<Height> points, tilted;
    const double a = within(random, -0.1, 0.1), b = within(random, -0.1, 0.1);
    for (int n = 0; n < 5 + turn % 20; ++n) {
      points.push_back({within(random, -50, 50), within(random, -50, 50), within(random, -0.02, 0.02)});
      tilted.push_back({points.back().x, points.back().y,
                        points.back().height + 3 + a * points.back().x + b * points.back().y});
    }
    const auto found = flatness(points), same = flatness(tilted);
    REQUIRE(found);
    REQUIRE(same);
    CHECK(found->minimum_zone <= found->least_squares + 1e-11);
    CHECK(std::abs(found->minimum_zone - same->minimum_zone) < 1e-9);
  }
}
