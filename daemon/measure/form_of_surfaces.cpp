// Straightness and flatness.
#include <algorithm>

#include "daemon/measure/few_variables.hpp"
#include "daemon/measure/form.hpp"

namespace tallystick::form {
namespace {

using fit::Constraint;

/// Height = terms . plane; N counts the terms. Rows are scaled about their middle.
template <std::size_t N>
struct Sheet {
  std::vector<std::array<double, N>> terms;
  std::vector<double> heights;
  double unit = 1;
};

template <std::size_t N>
Expected<Deviation> deviation(const Sheet<N>& sheet) {
  const auto undetermined = [] {
    return fail("not_determined",
                N == 2 ? "all readings stand at one place" : "all readings stand in one line", {},
                "spread the places over the surface");
  };
  std::array<std::array<double, N>, N> normal{};
  std::array<double, N> right{};
  const auto count = static_cast<double>(sheet.heights.size());
  for (std::size_t n = 0; n < sheet.heights.size(); ++n)
    for (std::size_t a = 0; a < N; ++a) {
      right[a] += sheet.terms[n][a] * sheet.heights[n] / count;
      for (std::size_t b = 0; b < N; ++b) normal[a][b] += sheet.terms[n][a] * sheet.terms[n][b] / count;
    }
  const auto squares = fit::solved(normal, right);
  if (!squares) return undetermined();
  std::vector<Constraint<N + 1>> rows;
  Deviation out;
  for (std::size_t n = 0; n < sheet.heights.size(); ++n) {
    out.of_points.push_back((sheet.heights[n] - fit::dot(sheet.terms[n], *squares)) * sheet.unit);
    Constraint<N + 1> above, below;
    for (std::size_t a = 0; a < N; ++a) {
      above.row[a] = sheet.terms[n][a];
      below.row[a] = -sheet.terms[n][a];
    }
    above.row[N] = below.row[N] = 1;
    above.bound = sheet.heights[n];
    below.bound = -sheet.heights[n];
    rows.push_back(above);
    rows.push_back(below);
  }
  const auto [low, high] = std::minmax_element(out.of_points.begin(), out.of_points.end());
  out.least_squares = *high - *low;
  std::array<double, N + 1> objective{};
  objective[N] = 1;
  const auto zone = fit::least<N + 1>(objective, rows);
  if (!zone) return undetermined();
  out.minimum_zone = std::max(0.0, 2 * zone->x[N] * sheet.unit);
  return out;
}

template <std::size_t N>
Expected<Deviation> of_heights(std::span<const Height> points) {
  if (points.size() < N + 1)
    return fail("too_few_points",
                std::to_string(points.size()) + " points are given, at least " + std::to_string(N + 1) +
                    " are needed",
                {}, "take more readings");
  double x = 0, y = 0, height = 0;
  const auto count = static_cast<double>(points.size());
  for (const auto& point : points) {
    if (!std::isfinite(point.x) || !std::isfinite(point.y) || !std::isfinite(point.height))
      return fail("not_a_number", "a reading is no finite number");
    x += point.x / count;
    y += point.y / count;
    height += point.height / count;
  }
  double spread = 0;
  Sheet<N> sheet;
  sheet.unit = 0;
  for (const auto& point : points) {
    spread = std::max({spread, std::abs(point.x - x), N > 2 ? std::abs(point.y - y) : 0});
    sheet.unit = std::max(sheet.unit, std::abs(point.height - height));
  }
  if (!(sheet.unit > 0)) sheet.unit = 1;
  if (!(spread > 0)) spread = 1;
  for (const auto& point : points) {
    std::array<double, N> terms{};
    terms[0] = 1;
    terms[1] = (point.x - x) / spread;
    if constexpr (N > 2) terms[2] = (point.y - y) / spread;
    sheet.terms.push_back(terms);
    sheet.heights.push_back((point.height - height) / sheet.unit);
  }
  return deviation(sheet);
}

}  // namespace

Expected<Deviation> straightness(std::span<const Point> points) {
  std::vector<Height> heights;
  for (const auto& point : points) heights.push_back({point.x, 0, point.y});
  return of_heights<2>(heights);
}

Expected<Deviation> flatness(std::span<const Height> points) { return of_heights<3>(points); }

}  // namespace tallystick::form
