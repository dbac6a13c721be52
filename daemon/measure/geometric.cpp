#include "daemon/measure/geometric.hpp"

#include <algorithm>
#include <array>
#include <boost/multiprecision/cpp_int.hpp>

#include "daemon/measure/whole.hpp"

namespace tallystick::geometric {
namespace {

using Big = boost::multiprecision::int256_t;

constexpr std::array<std::string_view, 3> names = {"regardless", "maximum", "least"};

Done lengths(std::initializer_list<Quantity> values) {
  for (const auto& value : values)
    if (value.dimension() != Dimension::length)
      return fail("wrong_unit", "a length is needed, not a value in " + std::string(value.unit().name()));
  return {};
}

/// (2 times the distance from the axis) squared, in square counts.
Big square_of_twice(Quantity dx, Quantity dy) {
  const Big x = dx.count(), y = dy.count();
  return 4 * (x * x + y * y);
}

/// The nearest count to the root, up where it lies in the middle (it never does: no square of a half is
/// whole).
Expected<Quantity> root(const Big& square, Unit unit) {
  Big below = boost::multiprecision::sqrt(square);
  if (square - below * below > below) ++below;
  if (below > Big(std::numeric_limits<std::int64_t>::max()))
    return fail("overflow", "the deviation does not fit its count");
  return Quantity::of_count(static_cast<std::int64_t>(below), unit);
}

/// Exact: the squares decide, so that a deviation that rounds to the tolerance is judged by what it is.
Expected<Judgement> judged(const Big& square, Quantity shown, Quantity tolerance) {
  const Big limit = tolerance.count();
  const auto by = shown >= tolerance ? subtract(shown, tolerance) : subtract(tolerance, shown);
  if (!by) return tl::unexpected(by.error());
  return Judgement{square <= limit * limit ? Verdict::accept : Verdict::reject, Side::upper, *by};
}

Expected<Quantity> bonus_of(Material material, const Size& size) {
  if (!size.limits.lower || !size.limits.upper)
    return fail("missing_field", "a bonus needs both limits of the size", {},
                "state lower and upper limit of the size");
  // A hole has most material where it is smallest, a shaft where it is largest.
  const bool from_lower = size.hole == (material == Material::maximum);
  auto left =
      from_lower ? subtract(size.actual, *size.limits.lower) : subtract(*size.limits.upper, size.actual);
  const auto most = subtract(*size.limits.upper, *size.limits.lower);
  if (!left || !most) return tl::unexpected(left ? most.error() : left.error());
  const Quantity zero = Quantity::of_count(0, left->unit());
  return std::clamp(*left, zero, *most);
}

}  // namespace

std::string_view name(Material material) { return names[static_cast<std::size_t>(material)]; }

Expected<Material> material_named(std::string_view name) {
  for (std::size_t n = 0; n < names.size(); ++n)
    if (names[n] == name) return static_cast<Material>(n);
  return fail("unknown_word", quoted(name) + " is no material condition", {}, "regardless, maximum or least");
}

Expected<Position> position(Quantity dx, Quantity dy, Quantity tolerance, Material material,
                            const Size* size) {
  if (auto done = lengths({dx, dy, tolerance}); !done) return tl::unexpected(done.error());
  if (tolerance.count() < 0) return fail("out_of_range", "a tolerance is not below 0");
  Position out;
  out.bonus = Quantity::of_count(0, tolerance.unit());
  if (material != Material::regardless) {
    if (size == nullptr)
      return fail("missing_field", "at " + std::string(name(material)) + " material the size is needed", {},
                  "give the size that was measured, and its limits");
    if (auto done = lengths({size->actual}); !done) return tl::unexpected(done.error());
    const auto bonus = bonus_of(material, *size);
    if (!bonus) return tl::unexpected(bonus.error());
    out.bonus = *bonus;
  }
  if (size != nullptr) {
    const auto fits = judge(size->limits, size->actual);
    if (!fits) return tl::unexpected(fits.error());
    out.size_accepts = fits->verdict == Verdict::accept;
  }
  const auto total = add(tolerance, out.bonus);
  const auto square = square_of_twice(dx, dy);
  const auto deviation = root(square, dx.unit());
  if (!total || !deviation) return tl::unexpected(total ? deviation.error() : total.error());
  out.tolerance = *total;
  out.deviation = *deviation;
  const auto judgement = judged(square, out.deviation, out.tolerance);
  if (!judgement) return tl::unexpected(judgement.error());
  out.judgement = *judgement;
  return out;
}

Expected<Coaxiality> coaxiality(std::span<const Offset> sections, Quantity tolerance) {
  if (sections.empty())
    return fail("too_few_points", "no section is given", {}, "measure at least one section, better three");
  if (auto done = lengths({tolerance}); !done) return tl::unexpected(done.error());
  if (tolerance.count() < 0) return fail("out_of_range", "a tolerance is not below 0");
  Coaxiality out;
  out.sections = sections.size();
  Big worst = -1;
  for (std::size_t n = 0; n < sections.size(); ++n) {
    if (auto done = lengths({sections[n].dx, sections[n].dy}); !done) return tl::unexpected(done.error());
    const auto square = square_of_twice(sections[n].dx, sections[n].dy);
    if (square <= worst) continue;
    worst = square;
    out.worst = n;
  }
  const auto deviation = root(worst, sections[out.worst].dx.unit());
  if (!deviation) return tl::unexpected(deviation.error());
  out.deviation = *deviation;
  const auto judgement = judged(worst, out.deviation, tolerance);
  if (!judgement) return tl::unexpected(judgement.error());
  out.judgement = *judgement;
  return out;
}

Error concentricity_refused() {
  return {"not_by_hand_gauges",
          "concentricity of median points needs opposed readings all over the surface; two readings a "
          "section do not tell it",
          "concentricity",
          "ask for runout or position on the print; coaxiality of n sections can be answered"};
}

Expected<Runout> runout(std::span<const std::vector<Quantity>> sections) {
  Runout out;
  std::optional<Quantity> least, greatest;
  for (std::size_t n = 0; n < sections.size(); ++n) {
    if (sections[n].size() < 2)
      return fail("too_few_points", "section " + std::to_string(n + 1) + " has fewer than two readings", {},
                  "turn the part once round");
    for (const auto& reading : sections[n])
      if (auto done = lengths({reading}); !done) return tl::unexpected(done.error());
    const auto [low, high] = std::minmax_element(sections[n].begin(), sections[n].end());
    const auto span = subtract(*high, *low);
    if (!span) return tl::unexpected(span.error());
    if (n == 0 || *span > out.circular) {
      out.circular = *span;
      out.worst_section = n;
    }
    if (!least || *low < *least) least = *low;
    if (!greatest || *high > *greatest) greatest = *high;
  }
  if (!least) return fail("too_few_points", "no section is given", {}, "turn the part once round");
  const auto total = subtract(*greatest, *least);
  if (!total) return tl::unexpected(total.error());
  out.total = *total;
  return out;
}

Expected<Quantity> parallelism(std::span<const Quantity> heights) {
  if (heights.size() < 2)
    return fail("too_few_points", "at least two heights are needed", {}, "take heights all over the face");
  for (const auto& height : heights)
    if (auto done = lengths({height}); !done) return tl::unexpected(done.error());
  const auto [low, high] = std::minmax_element(heights.begin(), heights.end());
  return subtract(*high, *low);
}

Expected<Quantity> perpendicularity(Quantity reading_low, Quantity reading_high, Quantity distance,
                                    Quantity length) {
  if (auto done = lengths({reading_low, reading_high, distance, length}); !done)
    return tl::unexpected(done.error());
  if (distance.count() <= 0)
    return fail("out_of_range", "the two heights are the same, or change places", {},
                "take the readings at two heights");
  if (length < distance)
    return fail("out_of_range", "the whole length is shorter than the distance of the heights", {},
                "state the length of the surface");
  const auto difference =
      reading_low > reading_high ? subtract(reading_low, reading_high) : subtract(reading_high, reading_low);
  if (!difference) return difference;
  const Big product = Big(difference->count()) * length.count();
  Big quotient = product / distance.count();
  const Big twice = 2 * (product % distance.count());
  if (twice > distance.count() || (twice == distance.count() && quotient % 2 == 1)) ++quotient;
  if (quotient > Big(std::numeric_limits<std::int64_t>::max()))
    return fail("overflow", "the deviation does not fit its count");
  return Quantity::of_count(static_cast<std::int64_t>(quotient), difference->unit());
}

}  // namespace tallystick::geometric
