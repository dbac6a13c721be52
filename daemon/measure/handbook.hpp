// What an inspector works out with a pocket calculator and a handbook: sizes over wires, pins and balls,
// angles by sine bar and rolls, an arc by three points. Lengths in millimetres, angles in radians, floating
// point; what is judged of it is rounded to a declared place by `of_millimetres` first. Every function
// refuses what has no answer, and never gives a NaN: "not_a_number", "out_of_range" (with the member that is
// wrong as its place).
#pragma once

#include "daemon/measure/error.hpp"

namespace tallystick::handbook {

/// A symmetric thread or groove with an included angle, measured over three wires or over balls.
struct Thread {
  double pitch = 0;
  double included_angle_rad = 0;  ///< 60 degrees: metric and unified; 55: Whitworth; 29, 30: trapezoidal
  int starts = 1;
};

/// The wire that touches at the pitch line: pitch / (2 cos(angle / 2)) (NBS Handbook H28, "Measurement of
/// pitch diameter by wires"; from memory; 0.57735 pitch at 60 degrees, 0.56369 at 55).
Expected<double> best_wire(const Thread& thread);

struct OverWires {
  double pitch_diameter = 0;
  double over_wires = 0;
  double lead_angle_rad = 0;
  double lead_correction =
      0;  ///< that was taken from (added to) the measurement: W tan^2(lead) cos(a) cot(a) / 2, a = half angle
  double contact_from_pitch_line = 0;  ///< along the flank's height, outward above 0
};
/// Pitch diameter from what was measured over three wires: E = M - W (1 + 1 / sin a) + P cot(a) / 2 - lead
/// correction (NBS Handbook H28; Machinery's Handbook, "Measuring screw threads by three-wire method"; from
/// memory, checked against published rows). `corrected` false leaves the lead angle out, as shop tables do.
/// Errors besides: "wire_does_not_touch" (the wire lies below the crests, or touches beyond the flank:
/// outside an eighth to seven eighths of the sharp V's height).
Expected<OverWires> pitch_diameter(const Thread& thread, double over_wires, double wire,
                                   bool corrected = true);
/// The other way: what should be read over wires of this size at a pitch diameter.
Expected<OverWires> over_wires(const Thread& thread, double pitch_diameter, double wire,
                               bool corrected = true);

/// V grooves round a pulley, over two balls or pins opposite each other. `effective` is the diameter at which
/// the groove is `width` wide. Ball diameter d, groove angle A: effective = over - d (1 + 1 / sin(A / 2)) +
/// width cot(A / 2) (geometry of a circle between two lines; ISO 9982:2021 gives K - effective as its 2x at d
/// and width of each profile).
Expected<double> groove_diameter(double over_balls, double ball, double groove_angle_rad, double width);
/// What two pairs of balls say of the groove angle itself: sin(A / 2) = (d2 - d1) / ((M2 - M1) - (d2 - d1)).
Expected<double> groove_angle(double over_small, double small_ball, double over_large, double large_ball);

/// External dovetail over two rolls: width at the narrow end = M - d (1 + cot(A / 2)), A the angle of the
/// dovetail. Published for M = W + D (1 + cot(A / 2)); the width is the one at the sharp corners where the
/// rolls lie.
Expected<double> dovetail_width(double over_rolls, double roll, double angle_rad);

/// asin(height / length) of the blocks under a sine bar.
Expected<double> sine_bar(double blocks, double length);
/// Included angle of a taper between two rolls of different diameter that touch each other or lie `apart`
/// (centre to centre), on one edge: 2 asin((D - d) / (2 distance)).
Expected<double> two_rolls(double large, double small, double centre_distance);
/// Included angle of a cone (bore) from two balls and the depths of their tops below the face: 2 asin((R - r)
/// / (depth small - depth large - (R - r))), R and r the radii (common handbook form, from memory).
Expected<double> two_balls(double large, double small, double depth_large, double depth_small);
/// Diameter per length: (D - d) / length, and the included angle 2 atan of half of it.
struct Taper {
  double ratio = 0, included_angle_rad = 0;
};
Expected<Taper> taper(double large, double small, double length);

/// Radius of the arc over a chord with this height in its middle: (c^2 / 4 + h^2) / (2 h).
Expected<double> arc_radius(double chord, double height);

}  // namespace tallystick::handbook
