// Form and place of a turned section, of a line and of a plane, from readings at known places. Floating
// point: what is judged of it is rounded to a declared place by `of_millimetres` first.
#pragma once

#include <span>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::form {

/// A reading of an indicator that stands still while the part turns.
struct PolarReading {
  double angle_rad = 0;
  double millimetres = 0;
};

/// A reference circle and what is left of the readings: `roundness` is RONt of ISO 12181-1:2011, highest
/// minus lowest deviation from it. (x, y) is its centre, seen from the axis of turning.
struct Circle {
  double x = 0, y = 0;
  double mean = 0;  ///< of the readings: for an indicator its zero, for radii the radius
  double roundness = 0, peak = 0, valley = 0;
  /// False (MCCI, MICI of an oval): other centres do equally; of those the one of least roundness is taken, so
  /// that the roundness does not depend on where the readings begin. The centre may still be one of several.
  bool unique = true;
};

/// All that a full turn says about a section. The circles are fitted to the first harmonic (limacon), r =
/// mean + x cos + y sin, which is what an indicator shows of a circle whose centre is off by far less than
/// its radius; an eccentricity e at a radius R leaves e^2 / (4 R) of second harmonic.
///   least squares: the normal equations, for any spacing of the angles (ISO 12181-1 LSCI; for equal spacing
///   the sums of "2/n sum r cos", "2/n sum r sin"). minimum zone, minimum circumscribed, maximum inscribed
///   (MZCI, MCCI, MICI): linear programs, solved to their optimum (few_variables.hpp), not searched for. MCCI
///   is the smallest circle that all readings lie inside of, for an outside surface; MICI the largest inside
///   all of them, for a bore. Names of ISO 12181-1 from memory.
struct Section {
  double runout = 0;         ///< greatest minus least reading
  double eccentricity = 0;   ///< of the least-squares circle
  double direction_rad = 0;  ///< 0 to 2 pi: where the reading is high; meaningless where eccentricity is 0
  double eccentricity_error =
      0;  ///< standard uncertainty of x and of y from the scatter of the residuals: s sqrt(2 / n)
  Circle least_squares, minimum_zone, circumscribed, inscribed;
};

/// Errors: "too_few_points" (under 4), "not_a_number", "no_full_turn" (a gap between neighbouring angles over
/// 120 degrees: no circle is held from all sides), "not_determined".
Expected<Section> section(std::span<const PolarReading> readings);

/// Angles of readings taken at equal times over whole turns: reading k of n lies at 2 pi turns k / n. Errors
/// "too_few_points", "out_of_range" (turns not above 0).
Expected<std::vector<PolarReading>> over_turns(std::span<const double> millimetres, double turns);

struct Point {
  double x = 0, y = 0;
};

/// The circle of least squares of the distances (Gauss and Newton from the algebraic fit of I. Kasa, 1976).
struct FittedCircle {
  Point centre;
  double radius = 0;
  double greatest_residual = 0;
  int rounds = 0;
};
/// Errors: "too_few_points" (under 3), "not_a_number", "collinear".
Expected<FittedCircle> circle_through(std::span<const Point> points);

struct Deviation {
  double least_squares = 0;  ///< width between two parallels to the fitted line or plane that hold all points
  double minimum_zone =
      0;  ///< the least such width there is (ISO 12780, ISO 12781: MZLI, MZPL; names from memory)
  std::vector<double> of_points;  ///< from the fitted one, along the reading
};
struct Height {
  double x = 0, y = 0, height = 0;
};
/// Heights along a line (x). Errors: "too_few_points" (under 3), "not_a_number", "not_determined" (all at one
/// place).
Expected<Deviation> straightness(std::span<const Point> points);
/// Heights over a surface. Errors: "too_few_points" (under 4), "not_a_number", "not_determined" (all in one
/// line).
Expected<Deviation> flatness(std::span<const Height> points);

}  // namespace tallystick::form
