#include "daemon/measure/reduction.hpp"

#include <algorithm>
#include <array>
#include <vector>

#include "daemon/measure/whole.hpp"

namespace tallystick {
namespace {

constexpr std::array<std::string_view, 6> names{"each", "mean", "median", "range", "greatest", "least"};

Quantity mean_of(std::span<const Quantity> readings) {
  whole::Wide sum = 0;
  for (const auto& reading : readings) sum += reading.count();
  // A mean lies between its readings, so it fits whatever the sum was.
  const auto count = whole::divide_half_even(sum, static_cast<whole::Wide>(readings.size()));
  return Quantity::of_count(whole::narrow(count), readings.front().unit());
}

Quantity median_of(std::span<const Quantity> readings) {
  std::vector<Quantity> sorted(readings.begin(), readings.end());
  std::stable_sort(sorted.begin(), sorted.end());
  const std::size_t middle = sorted.size() / 2;
  if (sorted.size() % 2 == 1) return sorted[middle];
  return mean_of(std::span(sorted).subspan(middle - 1, 2));
}

// Positive inside, negative outside.
whole::Wide margin(const Judgement& judgement) {
  const whole::Wide by = judgement.by.count();
  return judgement.verdict == Verdict::accept ? by : -by;
}

Expected<Reduced> worst_of(std::span<const Quantity> readings, const Limits& limits, const JudgingRule& rule,
                            Reduced reduced) {
  std::optional<whole::Wide> least_margin;
  for (const auto& reading : readings) {
    const auto plain = judge(limits, reading);
    if (!plain) return tl::unexpected(plain.error());
    if (least_margin && margin(*plain) >= *least_margin) continue;
    // No rule turns the order of margins round: the worst reading has the worst verdict.
    const auto judgement = judge(limits, reading, rule);
    if (!judgement) return tl::unexpected(judgement.error());
    least_margin = margin(*plain);
    reduced.value = reading;
    reduced.judgement = *judgement;
  }
  return reduced;
}

}  // namespace

std::string_view name(Reduction reduction) { return names[static_cast<std::size_t>(reduction)]; }

Expected<Reduction> reduction_named(std::string_view name) {
  const auto* const found = std::find(names.begin(), names.end(), name);
  if (found == names.end()) {
    return fail("unknown_reduction", "unknown reduction " + quoted(name), {},
                "use one of each, mean, median, range, greatest, least");
  }
  return static_cast<Reduction>(found - names.begin());
}

Expected<Reduced> reduce(Reduction reduction, std::span<const Quantity> readings, const Limits& limits,
                         const JudgingRule& rule) {
  if (readings.empty()) return fail("no_readings", "there is no reading to make a result of");
  for (const auto& reading : readings) {
    if (!convertible(reading.unit(), readings.front().unit())) {
      return fail("wrong_unit", "readings in " + std::string(readings.front().unit().name()) + " and " +
                                    std::string(reading.unit().name()) + " make no result together");
    }
  }
  const auto [least, greatest] = std::minmax_element(readings.begin(), readings.end());
  Reduced reduced{readings.front(), *least, *greatest, {}};
  switch (reduction) {
    case Reduction::each:
      return worst_of(readings, limits, rule, reduced);
    case Reduction::mean:
      reduced.value = mean_of(readings);
      break;
    case Reduction::median:
      reduced.value = median_of(readings);
      break;
    case Reduction::greatest:
      reduced.value = *greatest;
      break;
    case Reduction::least:
      reduced.value = *least;
      break;
    case Reduction::range: {
      const auto range = subtract(*greatest, *least);
      if (!range) return tl::unexpected(range.error());
      reduced.value = *range;
      break;
    }
  }
  const auto judgement = judge(limits, reduced.value, rule);
  if (!judgement) return tl::unexpected(judgement.error());
  reduced.judgement = *judgement;
  return reduced;
}

}  // namespace tallystick
