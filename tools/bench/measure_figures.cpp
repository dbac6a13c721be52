#include <cmath>
#include <numbers>
#include <random>

#include "daemon/measure/form.hpp"
#include "daemon/measure/limits.hpp"
#include "tools/bench/pure.hpp"

namespace tallystick::bench {
namespace {

constexpr std::size_t samples = 100'000;
constexpr std::size_t judgements = 1'000'000;

/// An invented section: off centre by 20 um, three lobes of 2 um, noise of 0.3 um, to the tenth of a
/// micrometre.
std::vector<double> sweep_heights() {
  std::mt19937_64 chance(1);
  std::normal_distribution<double> noise(0, 0.0003);
  std::vector<double> out;
  for (std::size_t n = 0; n < samples; ++n) {
    const double angle = 2 * std::numbers::pi * static_cast<double>(n) / samples;
    const double height = 0.02 * std::cos(angle - 1) + 0.002 * std::cos(3 * angle) + noise(chance);
    out.push_back(std::round(height * 1e4) / 1e4);
  }
  return out;
}

Work sweep_work(const std::vector<double>& heights) {
  return [heights]() -> std::uint64_t {
    const auto polar = form::over_turns(heights, 1);
    if (!polar) give_up(polar.error().what);
    const auto found = form::section(*polar);
    if (!found) give_up(found.error().what);
    keep(found->minimum_zone.roundness);
    return heights.size();
  };
}

/// The floor: least, greatest and the first harmonic of equal spacing, by the textbook's sums, in one pass.
Work harmonic_work(const std::vector<double>& heights) {
  return [heights]() -> std::uint64_t {
    double low = heights.front(), high = low, sum = 0, cosines = 0, sines = 0;
    const double step = 2 * std::numbers::pi / static_cast<double>(heights.size());
    for (std::size_t n = 0; n < heights.size(); ++n) {
      const double height = heights[n], angle = step * static_cast<double>(n);
      low = std::min(low, height);
      high = std::max(high, height);
      sum += height;
      cosines += height * std::cos(angle);
      sines += height * std::sin(angle);
    }
    keep(high - low + sum + std::hypot(cosines, sines));
    return heights.size();
  };
}

std::vector<Quantity> values_about(std::int64_t low, std::int64_t high) {
  std::mt19937_64 chance(2);
  std::uniform_int_distribution<std::int64_t> around(low - (high - low) / 4, high + (high - low) / 4);
  std::vector<Quantity> out;
  out.reserve(judgements);
  for (std::size_t n = 0; n < judgements; ++n)
    out.push_back(Quantity::of_count(around(chance) / 100'000 * 100'000, Unit()));
  return out;
}

Work judge_work(const std::vector<Quantity>& values, const Limits& limits, std::uint64_t wanted) {
  return [values, limits, wanted]() -> std::uint64_t {
    std::uint64_t accepted = 0;
    for (const auto& value : values) {
      const auto judgement = judge(limits, value);
      if (judgement && judgement->verdict == Verdict::accept) ++accepted;
      keep(judgement);
    }
    if (accepted != wanted)
      give_up("the judge accepts " + std::to_string(accepted) + " of the values, not " +
              std::to_string(wanted));
    return values.size();
  };
}

/// The floor: two comparisons of whole numbers a value.
std::uint64_t accepted_by_comparing(const std::vector<std::int64_t>& counts, std::int64_t low,
                                    std::int64_t high) {
  std::uint64_t accepted = 0;
  for (const auto count : counts) {
    const bool inside = count >= low && count <= high;
    accepted += inside ? 1U : 0U;
    keep(inside);
  }
  return accepted;
}

}  // namespace

void measure_figures(const Effort& effort) {
  const auto heights = sweep_heights();
  compare("sweep_circles", effort, sweep_work(heights), harmonic_work(heights), {{"samples", samples}});

  constexpr std::int64_t low = 25'000'000'000, high = 25'021'000'000;
  const auto values = values_about(low, high);
  std::vector<std::int64_t> counts;
  for (const auto& value : values) counts.push_back(value.count());
  const auto limits = Limits::direct(Quantity::of_count(low, Unit()), Quantity::of_count(high, Unit()));
  if (!limits) give_up(limits.error().what);
  const auto accepted = accepted_by_comparing(counts, low, high);
  const Work floor = [counts]() -> std::uint64_t {
    keep(accepted_by_comparing(counts, low, high));
    return counts.size();
  };
  compare("judge", effort, judge_work(values, *limits, accepted), floor, {{"judgements", judgements}});
}

}  // namespace tallystick::bench
