// A part that turns under an indicator: sweeps, runout, what is left of roundness.
#include <algorithm>
#include <charconv>
#include <cmath>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/form.hpp"
#include "daemon/measure/geometric.hpp"
#include "daemon/measure/rounding.hpp"

namespace tallystick::derive {
namespace {

/// A sweep's figure as the double that it was. Errors: the sweep's own, "not_a_number".
Expected<double> figure(const SweepFigures& sweep, std::string SweepFigures::*member,
                        std::string_view input) {
  if (!sweep.error.empty())
    return fail(sweep.error, sweep.why, std::string(input), "take the sweep again, over a whole turn");
  const auto& text = sweep.*member;
  double out = 0;
  const auto read = std::from_chars(text.data(), text.data() + text.size(), out, std::chars_format::fixed);
  if (read.ec != std::errc() || read.ptr != text.data() + text.size() || !std::isfinite(out))
    return fail("not_a_number", "the sweep does not hold this figure: " + quoted(text), std::string(input),
                "take the sweep again");
  return out;
}

struct Figure {
  std::string_view name;
  std::string SweepFigures::*member;
};
constexpr Figure all_lengths[] = {{"span", &SweepFigures::span},
                                  {"eccentricity", &SweepFigures::eccentricity},
                                  {"roundness", &SweepFigures::roundness},
                                  {"minimum_zone", &SweepFigures::minimum_zone},
                                  {"circumscribed", &SweepFigures::circumscribed},
                                  {"inscribed", &SweepFigures::inscribed}};

Working of_sweep(const Given& given, const SweepFigures& sweep) {
  Working working(given.unit);
  working.count("samples", static_cast<std::size_t>(std::max<std::int64_t>(0, sweep.samples)));
  for (const auto& [name, member] : all_lengths)
    if (const auto value = figure(sweep, member, "sweep")) working.length(name, *value);
  if (const auto value = figure(sweep, &SweepFigures::direction, "sweep")) working.angle("direction", *value);
  return working;
}

template <std::string SweepFigures::*member>
Expected<Derived> one_figure(const Given& given) {
  const auto& sweep = given.sweeps("sweep").front();
  const auto value = figure(sweep, member, "sweep");
  if (!value) return tl::unexpected(value.error());
  return of_double(given, *value, "sweep", of_sweep(given, sweep));
}

Expected<Derived> direction_worked(const Given& given) {
  const auto& sweep = given.sweeps("sweep").front();
  const auto eccentricity = figure(sweep, &SweepFigures::eccentricity, "sweep");
  const auto direction = figure(sweep, &SweepFigures::direction, "sweep");
  if (!eccentricity) return tl::unexpected(eccentricity.error());
  if (!direction) return tl::unexpected(direction.error());
  constexpr double a_count = 1e-9;  // of a millimetre: less is the noise of the arithmetic
  if (*eccentricity < a_count)
    return fail("not_determined", "the section runs true: an eccentricity of nothing has no direction",
                "sweep", "judge the eccentricity alone");
  return of_double(given, *direction, "sweep", of_sweep(given, sweep));
}

Expected<Derived> coaxiality_worked(const Given& given) {
  const auto& sweeps = given.sweeps("sweeps");
  Working working(given.unit);
  double greatest = 0;
  for (std::size_t n = 0; n < sweeps.size(); ++n) {
    const auto value = figure(sweeps[n], &SweepFigures::eccentricity, "sweeps");
    if (!value) return tl::unexpected(value.error());
    greatest = std::max(greatest, *value);
    working.length("eccentricity_" + std::to_string(n + 1), *value);
  }
  working.length("greatest_eccentricity", greatest).count("sections", sweeps.size());
  return of_double(given, 2 * greatest, "sweeps", std::move(working));
}

/// Readings of one section, or sweeps of one or more: one of both.
Done runout_agrees(std::span<const Shape> shapes) {
  const bool readings = shape_named(shapes, "readings") != nullptr,
             sweeps = shape_named(shapes, "sweeps") != nullptr;
  if (readings && sweeps)
    return fail("contradiction", "readings and sweeps are given", "sweeps", "keep one of both");
  if (!readings && !sweeps)
    return fail("missing_field", "neither readings nor sweeps are given", "readings",
                "name readings taken round the section, or sweeps of an indicator");
  return {};
}

/// Each section as its least and greatest reading, which is all that a runout looks at.
Expected<std::vector<std::vector<Quantity>>> sections_of(const Given& given) {
  std::vector<std::vector<Quantity>> out;
  if (given.has("readings")) {
    out.push_back(given.values("readings"));
    return out;
  }
  for (const auto& sweep : given.sweeps("sweeps")) {
    const auto least = figure(sweep, &SweepFigures::least, "sweeps");
    const auto greatest = figure(sweep, &SweepFigures::greatest, "sweeps");
    if (!least) return tl::unexpected(least.error());
    if (!greatest) return tl::unexpected(greatest.error());
    const auto low = quantity_of(*least, Unit()), high = quantity_of(*greatest, Unit());
    if (!low) return at(low.error(), "sweeps");
    if (!high) return at(high.error(), "sweeps");
    out.push_back({*low, *high});
  }
  return out;
}

template <bool total>
Expected<Derived> runout_worked(const Given& given) {
  const std::string_view input = given.has("readings") ? "readings" : "sweeps";
  const auto sections = sections_of(given);
  if (!sections) return tl::unexpected(sections.error());
  const auto found = geometric::runout(*sections);
  if (!found) return at(found.error(), input);
  Working working(given.unit);
  for (std::size_t n = 0; n < sections->size(); ++n) {
    const auto [low, high] = std::minmax_element((*sections)[n].begin(), (*sections)[n].end());
    const auto place = sections->size() == 1 ? std::string() : "_" + std::to_string(n + 1);
    working.exact("least" + place, *low).exact("greatest" + place, *high);
  }
  working.count("sections", sections->size());
  if (!total && sections->size() > 1) working.count("worst_section", found->worst_section + 1);
  return of_exact(given, total ? found->total : found->circular, std::move(working));
}

constexpr std::string_view circles = "ISO 12181-1:2011 (names of the circles from memory)";
constexpr std::string_view geometrical = "ISO 1101:2017 (clauses from memory)";

Row figure_row(std::string_view name, std::string_view about, std::string_view working,
               Expected<Derived> (*work)(const Given&)) {
  return {name, about, "length", circles, working, {{"sweep", Kind::sweep}}, work};
}

}  // namespace

SweepFigures sweep_figures(std::span<const Quantity> readings, double turns) {
  SweepFigures out;
  out.samples = static_cast<std::int64_t>(readings.size());
  const auto failed = [&](const Error& error) {
    SweepFigures none;
    none.samples = out.samples;
    none.error = error.code;
    none.why = error.what;
    return none;
  };
  std::vector<double> heights;
  heights.reserve(readings.size());
  for (const auto& reading : readings) {
    if (reading.dimension() != Dimension::length)
      return failed({"wrong_unit",
                     "a sweep is of lengths, not of values in " + std::string(reading.unit().name()),
                     {},
                     {}});
    heights.push_back(in_millimetres(reading));
  }
  const auto polar = form::over_turns(heights, turns);
  if (!polar) return failed(polar.error());
  const auto found = form::section(*polar);
  if (!found) return failed(found.error());
  out.span = shortest(found->runout);
  out.eccentricity = shortest(found->eccentricity);
  out.direction = shortest(found->direction_rad);
  out.roundness = shortest(found->least_squares.roundness);
  out.minimum_zone = shortest(found->minimum_zone.roundness);
  out.circumscribed = shortest(found->circumscribed.roundness);
  out.inscribed = shortest(found->inscribed.roundness);
  const auto [low, high] = std::minmax_element(readings.begin(), readings.end());
  out.least = shortest(in_millimetres(*low));
  out.greatest = shortest(in_millimetres(*high));
  return out;
}

std::vector<Row> turned_rows() {
  const std::vector<Slot> either = {{"readings...?", Kind::length, 2}, {"sweeps...?", Kind::sweep}};
  return {
      figure_row("sweep_span", "Span of a sweep: greatest less least reading",
                 "greatest - least reading of the turn", one_figure<&SweepFigures::span>),
      figure_row("eccentricity", "Eccentricity of a section to the axis of turning",
                 "root of (2/n sum r cos)^2 + (2/n sum r sin)^2: the first harmonic by least squares",
                 one_figure<&SweepFigures::eccentricity>),
      figure_row("roundness", "Roundness about the circle of least squares",
                 "highest less lowest deviation from that circle", one_figure<&SweepFigures::roundness>),
      figure_row("roundness_minimum_zone", "Roundness as the minimum zone",
                 "least distance of two concentric circles that hold the section",
                 one_figure<&SweepFigures::minimum_zone>),
      figure_row("roundness_circumscribed",
                 "Roundness about the smallest circle around the section (outside surfaces)",
                 "deviation from the minimum circumscribed circle", one_figure<&SweepFigures::circumscribed>),
      figure_row("roundness_inscribed", "Roundness about the largest circle inside the section (bores)",
                 "deviation from the maximum inscribed circle", one_figure<&SweepFigures::inscribed>),
      {"eccentricity_direction",
       "Where round a section its eccentricity points: the high side",
       "angle",
       circles,
       "atan2(2/n sum r sin, 2/n sum r cos)",
       {{"sweep", Kind::sweep}},
       direction_worked},
      {"coaxiality",
       "Coaxiality from sweeps of several sections",
       "length",
       geometrical,
       "2 times the greatest eccentricity of the sections; between them nothing was measured",
       {{"sweeps...", Kind::sweep}},
       coaxiality_worked},
      {"circular_runout", "Circular runout: the greatest span of any one section", "length", geometrical,
       "greatest of the sections' spans", either, runout_worked<false>, runout_agrees},
      {"total_runout", "Total runout: the span over all sections, the indicator's zero kept", "length",
       geometrical, "greatest less least reading of all sections", either, runout_worked<true>,
       runout_agrees}};
}

}  // namespace tallystick::derive
