// Derived features: from several readings of one part, and from what the print states, to what the print
// asks. Pure and without memory: what a result was made of stands beside it, so that it can be made again.
#pragma once

#include <boost/describe.hpp>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/quantity.hpp"

namespace tallystick::derive {

/// What one sweep of an indicator over whole turns comes to (form.hpp, `section`), kept as text: lengths in
/// millimetres and the direction in radians, each the shortest decimal that gives the same double again.
struct SweepFigures {
  std::string span, eccentricity, direction, roundness, minimum_zone, circumscribed, inscribed;
  std::string least, greatest;  ///< readings, exact: total runout needs them of each section
  std::int64_t samples = 0;
  std::string error, why;  ///< code and words of what stands against them (too few samples, no full turn);
                           ///< the rest is empty then
  bool operator==(const SweepFigures&) const = default;
};
BOOST_DESCRIBE_STRUCT(SweepFigures, (),
                      (span, eccentricity, direction, roundness, minimum_zone, circumscribed, inscribed,
                       least, greatest, samples, error, why))
/// Readings taken at equal times over `turns` turns. Never fails: what stands against it stands in `error`.
SweepFigures sweep_figures(std::span<const Quantity> readings, double turns);

/// One named input: readings (one, or one a place), a constant of the print, figures of sweeps, or a word (a
/// material's name). Exactly one of the three is set.
struct Input {
  std::string name;
  std::vector<Quantity> values;
  std::vector<SweepFigures> sweeps;
  std::string word;
};

/// What a checklist knows of an input before anything was measured.
struct Shape {
  std::string name;
  Unit unit;              ///< of values
  std::size_t count = 1;  ///< of values or sweeps
  bool sweep = false;
  std::string word;  ///< not empty: it is a word
};

/// An intermediate number, for the working: `value` is a decimal in `unit` ("mm", "deg", "1", ...), not
/// judged.
struct Line {
  std::string name, value, unit;
  bool operator==(const Line&) const = default;
};
BOOST_DESCRIBE_STRUCT(Line, (), (name, value, unit))

struct Derived {
  Quantity
      value;  ///< judged: the nearest count, half to even (that removes the noise of `double`, nothing more)
  std::string unrounded;      ///< shortest decimal of the double: millimetres, radians, or a plain number
  std::vector<Line> working;  ///< in the order in which it is worked out
};

/// A computation as it is listed: `result` is "length", "angle", "number", or "any": as its inputs are;
/// inputs as "large", "length"; a list ends in "...", what may be missing in "?". What each may be stands
/// beside it in `kinds`: "length", "angle", "number", "temperature", "temperature_difference", "any",
/// "sweep", "word".
struct Computation {
  std::string_view name, about, result, source;  ///< `source`: standard or handbook
  std::string_view working;                      ///< the formula in words
  std::vector<std::string_view> inputs;
  std::vector<std::string_view> kinds;
};
/// All of them, in alphabetical order; "formula" among them.
std::span<const Computation> computations();
/// Error "unknown_word", with the nearest name as remedy.
Expected<const Computation*> computation_named(std::string_view name);

/// What can be wrong before anything is measured: "unknown_word" (computation), "unknown_name" (an input that
/// it does not have, a name in the formula that is no input), "missing_field" (an input), "wrong_unit" (a
/// dimension; a formula that does not grow as its unit does), "too_few_points", "wrong_number_of_values"
/// (several values where one is taken; lists that belong together and are not equally long), "contradiction"
/// (an input twice, or two that exclude each other), "bad_formula" (with its place), "unknown_material".
/// `formula` is empty but for the computation "formula": arithmetic and functions of muParser's ordinary
/// syntax over the inputs' names; lengths are millimetres there, angles radians, temperatures degrees
/// Celsius; a list `d` of n values is d_1 to d_n.
Done check(std::string_view computation, std::string_view formula, std::span<const Shape> inputs, Unit unit);

/// Works it out in `unit` (of the result). Errors besides those of `check`: what the readings cannot give,
/// each with its input as the place ("collinear", "wire_does_not_touch", "out_of_range", "not_a_number",
/// "overflow", a sweep's own error).
Expected<Derived> derive(std::string_view computation, std::string_view formula,
                         std::span<const Input> inputs, Unit unit);

}  // namespace tallystick::derive
