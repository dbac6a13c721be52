// Sweeps of an indicator, flatness, straightness, bolt circles.
#include <numbers>

#include "daemon/measure/form.hpp"
#include "daemon/measure/geometric.hpp"
#include "daemon/measure/rounding.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {
namespace {

using boost::json::object;
using std::numbers::pi;

/// A result of floating point beside its tolerance.
Expected<object> judged_length(object out, const std::string& key, double millimetres, InputFields& fields,
                               const std::optional<Quantity>& tolerance, const char* working,
                               const char* standard) {
  if (auto done = put_length(out, key, millimetres); !done) return tl::unexpected(done.error());
  put_verdict(out, fields, *of_millimetres(millimetres), tolerance);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  out["working"] = working;
  out["standard"] = standard;
  return out;
}

object circle_of(const form::Circle& circle) {
  object out;
  static_cast<void>(put_length(out, "roundness", circle.roundness));
  static_cast<void>(put_length(out, "x", circle.x));
  static_cast<void>(put_length(out, "y", circle.y));
  if (!circle.unique) out["note"] = "other centres do equally";
  return out;
}

Expected<object> sweep_worked(const object& input) {
  InputFields fields(input);
  const auto tolerance = fields.optional_quantity("tolerance_mm");
  const auto judged = fields.optional_text("judged").value_or("runout");
  const auto readings = fields.quantities("readings_mm");
  std::vector<double> heights;
  for (const auto& reading : readings) heights.push_back(in_millimetres(reading));
  Expected<std::vector<form::PolarReading>> polar;
  if (input.contains("angles_deg")) {
    const auto angles = fields.quantities("angles_deg");
    if (const auto fault = fields.fault()) return tl::unexpected(*fault);
    if (angles.size() != readings.size())
      return fail(
          "out_of_range",
          std::to_string(angles.size()) + " angles for " + std::to_string(readings.size()) + " readings",
          "angles_deg", "one for each");
    polar->clear();
    for (std::size_t n = 0; n < angles.size(); ++n)
      polar->push_back({static_cast<double>(angles[n].count()) / 3.6e12 * pi / 180, heights[n]});
  } else {
    const auto turns = fields.text("turns");
    const auto counted = fields.taken("turns", Quantity::parse(turns, Unit()));
    if (const auto fault = fields.fault()) return tl::unexpected(*fault);
    polar = form::over_turns(heights, in_millimetres(counted));
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  if (!polar) return tl::unexpected(polar.error());
  const auto found = form::section(*polar);
  if (!found) return tl::unexpected(found.error());
  const std::vector<std::pair<std::string, double>> results = {{"runout", found->runout},
                                                               {"eccentricity", found->eccentricity},
                                                               {"roundness", found->minimum_zone.roundness}};
  object out{{"readings", readings.size()}};
  double value = -1;
  for (const auto& [name, amount] : results) {
    if (auto done = put_length(out, name, amount); !done) return tl::unexpected(done.error());
    if (name == judged) value = amount;
  }
  if (value < 0)
    return fail("unknown_word", quoted(judged) + " is nothing that a sweep gives", "judged",
                "runout, eccentricity or roundness");
  out["direction_deg"] = found->direction_rad * 180 / pi;
  if (auto done = put_length(out, "eccentricity_standard_uncertainty", found->eccentricity_error); !done)
    return tl::unexpected(done.error());
  out["least_squares"] = circle_of(found->least_squares);
  out["minimum_zone"] = circle_of(found->minimum_zone);
  out["circumscribed"] = circle_of(found->circumscribed);
  out["inscribed"] = circle_of(found->inscribed);
  put_verdict(out, fields, *of_millimetres(value), tolerance);
  if (tolerance) out["judged"] = judged;
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  out["working"] =
      "first harmonic by least squares; what is left of it in four reference circles; roundness is the "
      "minimum zone's";
  out["standard"] = "ISO 12181-1:2011";
  return out;
}

Expected<object> flatness_worked(const object& input) {
  InputFields fields(input);
  const auto tolerance = fields.optional_quantity("tolerance_mm");
  std::vector<form::Height> points;
  for (const auto& [one, place] : fields.objects("points")) {
    InputFields point(*one, place);
    points.push_back({point.number("x_mm"), point.number("y_mm"), point.number("height_mm")});
    fields.inner(point);
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = form::flatness(points);
  if (!found) return tl::unexpected(found.error());
  object out{{"points", points.size()}};
  if (auto done = put_length(out, "least_squares", found->least_squares); !done)
    return tl::unexpected(done.error());
  return judged_length(std::move(out), "flatness", found->minimum_zone, fields, tolerance,
                       "least distance of two parallel planes that hold all points", "ISO 12781-1:2011");
}

Expected<object> straightness_worked(const object& input) {
  InputFields fields(input);
  const auto tolerance = fields.optional_quantity("tolerance_mm");
  std::vector<form::Point> points;
  for (const auto& [one, place] : fields.objects("points")) {
    InputFields point(*one, place);
    points.push_back({point.number("x_mm"), point.number("height_mm")});
    fields.inner(point);
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = form::straightness(points);
  if (!found) return tl::unexpected(found.error());
  object out{{"points", points.size()}};
  if (auto done = put_length(out, "least_squares", found->least_squares); !done)
    return tl::unexpected(done.error());
  return judged_length(std::move(out), "straightness", found->minimum_zone, fields, tolerance,
                       "least distance of two parallel lines that hold all points", "ISO 12780-1:2011");
}

Expected<object> bolt_circle_worked(const object& input) {
  InputFields fields(input);
  const auto tolerance = fields.optional_quantity("tolerance_mm");
  const auto diameter = fields.optional_number("nominal_diameter_mm");
  const auto first = fields.optional_number("first_hole_deg");
  std::vector<form::Point> holes;
  std::vector<std::pair<Quantity, Quantity>> read;
  for (const auto& [one, place] : fields.objects("holes")) {
    InputFields hole(*one, place);
    read.emplace_back(hole.quantity("x_mm"), hole.quantity("y_mm"));
    holes.push_back({in_millimetres(read.back().first), in_millimetres(read.back().second)});
    fields.inner(hole);
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = form::circle_through(holes);
  if (!found) return tl::unexpected(found.error());
  object out{{"holes", holes.size()}};
  for (const auto& [name, amount] : {std::pair{"centre_x", found->centre.x},
                                     {"centre_y", found->centre.y},
                                     {"diameter", 2 * found->radius}})
    if (auto done = put_length(out, name, amount); !done) return tl::unexpected(done.error());
  if (tolerance && !diameter)
    return fail("missing_field", "positions need the print's diameter", "nominal_diameter_mm",
                "give it, or leave the tolerance out");
  if (diameter) {
    // The datum is the origin of x and y; the print's places lie on its circle from the first hole on,
    // evenly.
    boost::json::array positions;
    bool all = true;
    for (std::size_t n = 0; n < holes.size(); ++n) {
      const double angle =
          first.value_or(0) + 2 * pi * static_cast<double>(n) / static_cast<double>(holes.size());
      const auto x = of_millimetres(*diameter / 2 * std::cos(angle), 9),
                 y = of_millimetres(*diameter / 2 * std::sin(angle), 9);
      if (!x || !y) return fail("overflow", "the circle is too large", "nominal_diameter_mm");
      const auto dx = subtract(read[n].first, *x), dy = subtract(read[n].second, *y);
      if (!dx || !dy) return fail("overflow", "the hole is too far away", "holes");
      const auto position = geometric::position(*dx, *dy, tolerance.value_or(Quantity()));
      if (!position) return tl::unexpected(position.error());
      object one{{"hole", n + 1}, {"position_mm", written(position->deviation, Unit()).text}};
      if (tolerance) one["verdict"] = name(position->judgement.verdict);
      all = all && position->judgement.verdict == Verdict::accept;
      positions.push_back(std::move(one));
    }
    out["positions"] = std::move(positions);
    if (tolerance) {
      out["tolerance_mm"] = tolerance->text();
      out["verdict"] = all ? "accept" : "reject";
    }
  }
  out["working"] =
      "circle of least squares of the distances; each hole against its place about the datum (the origin)";
  return out;
}

}  // namespace

const Computation sweep_computation = {
    "sweep",
    "An indicator over a turn: eccentricity, runout, roundness in four circles (ISO 12181)",
    R"({"turns": "1", "tolerance_mm": "0.12", "judged": "runout", "readings_mm": ["0.05", "0.0433", "0.025", "0.001", "-0.025", "-0.0433", "-0.05", "-0.0433", "-0.025", "0", "0.025", "0.0433"]})",
    sweep_worked,
    members_in_words,
    status_of_answer};

const Computation flatness_computation = {
    "flatness",
    "Flatness of a face from heights (ISO 12781)",
    R"({"tolerance_mm": "0.02", "points": [{"x_mm": "0", "y_mm": "0", "height_mm": "0.005"}, {"x_mm": "40", "y_mm": "0", "height_mm": "-0.005"}, {"x_mm": "40", "y_mm": "40", "height_mm": "0.005"}, {"x_mm": "0", "y_mm": "40", "height_mm": "-0.005"}]})",
    flatness_worked,
    members_in_words,
    status_of_answer};

const Computation straightness_computation = {
    "straightness",
    "Straightness of a line from heights along it (ISO 12780)",
    R"({"tolerance_mm": "0.02", "points": [{"x_mm": "0", "height_mm": "0"}, {"x_mm": "50", "height_mm": "0.010"}, {"x_mm": "100", "height_mm": "0"}]})",
    straightness_worked,
    members_in_words,
    status_of_answer};

const Computation bolt_circle_computation = {
    "bolt-circle",
    "Centre, diameter and positions of holes on a circle",
    R"({"nominal_diameter_mm": "50", "first_hole_deg": "0", "tolerance_mm": "0.1", "holes": [{"x_mm": "25.01", "y_mm": "0.01"}, {"x_mm": "0.02", "y_mm": "25"}, {"x_mm": "-24.99", "y_mm": "0"}, {"x_mm": "0", "y_mm": "-25.01"}]})",
    bolt_circle_worked,
    members_in_words,
    status_of_answer};

}  // namespace tallystick::cli
