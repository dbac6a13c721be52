#include "daemon/measure/handbook.hpp"

#include <cmath>
#include <initializer_list>
#include <numbers>
#include <string>
#include <utility>

namespace tallystick::handbook {
namespace {

using Named = std::pair<const char*, double>;

Done above_zero(std::initializer_list<Named> values) {
  for (const auto& [name, value] : values) {
    if (!std::isfinite(value)) return fail("not_a_number", "this is no finite number", name);
    if (!(value > 0)) return fail("out_of_range", "it must be above 0", name, "look at what was typed");
  }
  return {};
}

Done angle_within(const char* name, double angle, double most) {
  if (!std::isfinite(angle)) return fail("not_a_number", "this is no finite number", name);
  if (!(angle > 0 && angle < most))
    return fail("out_of_range",
                "the angle must lie between 0 and " +
                    std::to_string(static_cast<int>(std::lround(most * 180 / std::numbers::pi))) + " degrees",
                name);
  return {};
}

Expected<double> arcus_sinus(double sine, const char* place, const char* what) {
  if (!std::isfinite(sine)) return fail("not_a_number", "there is no such angle", place);
  if (!(sine > 0 && sine < 1)) return fail("out_of_range", what, place, "look at sizes and readings");
  return std::asin(sine);
}

Done sound(const Thread& thread, double wire) {
  if (auto done = above_zero({{"pitch", thread.pitch}, {"wire", wire}}); !done) return done;
  if (thread.starts < 1) return fail("out_of_range", "a thread has at least one start", "starts");
  return angle_within("angle", thread.included_angle_rad, std::numbers::pi);
}

/// Contact of the wire with the flank, outward from the pitch line: the wire's centre lies W / (2 sin a)
/// above the V's root of the two flanks that hold it, the contact a further -(W / 2) sin a; the pitch line is
/// pitch cot(a) / 4 above that root.
Expected<double> contact(const Thread& thread, double wire) {
  const double half = thread.included_angle_rad / 2;
  const double height = thread.pitch / (2 * std::tan(half));  // of the sharp V
  const double at = wire / (2 * std::sin(half)) - wire / 2 * std::sin(half) - height / 2;
  if (at > height * 3 / 8)
    return fail("wire_does_not_touch", "the wire lies on the crests, it does not reach the flanks", "wire",
                "take a smaller wire; best is the one that touches at the pitch line");
  const double top = wire / (2 * std::sin(half)) + wire / 2 - height / 2;
  if (at < -height * 3 / 8 || top < height * 3 / 8)
    return fail("wire_does_not_touch",
                "the wire is too small: it sinks below the crests, or touches the root", "wire",
                "take a larger wire; best is the one that touches at the pitch line");
  return at;
}

double without_lead(const Thread& thread, double wire) {
  const double half = thread.included_angle_rad / 2;
  return wire * (1 + 1 / std::sin(half)) - thread.pitch / (2 * std::tan(half));
}

double correction(const Thread& thread, double pitch_diameter, double wire, double& lead_angle) {
  const double half = thread.included_angle_rad / 2;
  const double tangent = thread.pitch * thread.starts / (std::numbers::pi * pitch_diameter);
  lead_angle = std::atan(tangent);
  return wire * tangent * tangent / 2 * std::cos(half) / std::tan(half);
}

}  // namespace

Expected<double> best_wire(const Thread& thread) {
  if (auto done = sound(thread, 1); !done) return tl::unexpected(done.error());
  return thread.pitch / (2 * std::cos(thread.included_angle_rad / 2));
}

Expected<OverWires> pitch_diameter(const Thread& thread, double over_wires, double wire, bool corrected) {
  if (auto done = sound(thread, wire); !done) return tl::unexpected(done.error());
  if (auto done = above_zero({{"over_wires", over_wires}}); !done) return tl::unexpected(done.error());
  const auto at = contact(thread, wire);
  if (!at) return tl::unexpected(at.error());
  OverWires out;
  out.over_wires = over_wires;
  out.contact_from_pitch_line = *at;
  out.pitch_diameter = over_wires - without_lead(thread, wire);
  if (!(out.pitch_diameter > 0))
    return fail("out_of_range", "over wires of this size no pitch diameter is left", "over_wires",
                "look at wire and pitch");
  // The correction depends on the diameter that it corrects: it settles in a few rounds (it is some
  // thousandths of it).
  const double first = out.pitch_diameter;
  for (int round = 0; round < 20; ++round) {
    const double by = correction(thread, out.pitch_diameter, wire, out.lead_angle_rad);
    if (!corrected) break;
    out.lead_correction = by;
    out.pitch_diameter = first - by;
    if (!(out.pitch_diameter > 0))
      return fail("out_of_range", "the lead angle is too great for this way of measuring", "pitch");
  }
  return out;
}

Expected<OverWires> over_wires(const Thread& thread, double pitch_diameter, double wire, bool corrected) {
  if (auto done = sound(thread, wire); !done) return tl::unexpected(done.error());
  if (auto done = above_zero({{"pitch_diameter", pitch_diameter}}); !done)
    return tl::unexpected(done.error());
  const auto at = contact(thread, wire);
  if (!at) return tl::unexpected(at.error());
  OverWires out;
  out.pitch_diameter = pitch_diameter;
  out.contact_from_pitch_line = *at;
  const double by = correction(thread, pitch_diameter, wire, out.lead_angle_rad);
  out.lead_correction = corrected ? by : 0;
  out.over_wires = pitch_diameter + without_lead(thread, wire) + out.lead_correction;
  return out;
}

Expected<double> groove_diameter(double over_balls, double ball, double groove_angle_rad, double width) {
  if (auto done = above_zero({{"over_balls", over_balls}, {"ball", ball}, {"width", width}}); !done)
    return tl::unexpected(done.error());
  if (auto done = angle_within("groove_angle", groove_angle_rad, std::numbers::pi); !done)
    return tl::unexpected(done.error());
  const double half = groove_angle_rad / 2;
  const double out = over_balls - ball * (1 + 1 / std::sin(half)) + width / std::tan(half);
  if (!(out > 0))
    return fail("out_of_range", "over balls of this size no diameter is left", "over_balls",
                "look at ball and reading");
  return out;
}

Expected<double> groove_angle(double over_small, double small_ball, double over_large, double large_ball) {
  if (auto done = above_zero({{"over_small", over_small},
                              {"small_ball", small_ball},
                              {"over_large", over_large},
                              {"large_ball", large_ball}});
      !done)
    return tl::unexpected(done.error());
  const double step = large_ball - small_ball;
  if (!(step > 0)) return fail("out_of_range", "the second ball must be the larger", "large_ball");
  const auto half = arcus_sinus(step / (over_large - over_small - step), "over_large",
                                "no groove gives these two readings");
  if (!half) return half;
  return 2 * *half;
}

Expected<double> dovetail_width(double over_rolls, double roll, double angle_rad) {
  if (auto done = above_zero({{"over_rolls", over_rolls}, {"roll", roll}}); !done)
    return tl::unexpected(done.error());
  if (auto done = angle_within("angle", angle_rad, std::numbers::pi / 2); !done)
    return tl::unexpected(done.error());
  const double out = over_rolls - roll * (1 + 1 / std::tan(angle_rad / 2));
  if (!(out > 0))
    return fail("out_of_range", "over rolls of this size no width is left", "over_rolls",
                "look at roll and reading");
  return out;
}

Expected<double> sine_bar(double blocks, double length) {
  if (auto done = above_zero({{"blocks", blocks}, {"length", length}}); !done)
    return tl::unexpected(done.error());
  return arcus_sinus(blocks / length, "blocks", "the blocks are as high as the bar is long");
}

Expected<double> two_rolls(double large, double small, double centre_distance) {
  if (auto done = above_zero({{"large", large}, {"small", small}, {"centre_distance", centre_distance}});
      !done)
    return tl::unexpected(done.error());
  if (!(large > small)) return fail("out_of_range", "the first roll must be the larger", "large");
  const auto half = arcus_sinus((large - small) / (2 * centre_distance), "centre_distance",
                                "the rolls lie inside each other");
  if (!half) return half;
  return 2 * *half;
}

Expected<double> two_balls(double large, double small, double depth_large, double depth_small) {
  if (auto done = above_zero({{"large", large}, {"small", small}}); !done)
    return tl::unexpected(done.error());
  if (!std::isfinite(depth_large) || !std::isfinite(depth_small))
    return fail("not_a_number", "a depth is no finite number", "depth_large");
  const double step = (large - small) / 2;
  if (!(step > 0)) return fail("out_of_range", "the first ball must be the larger", "large");
  // Depths of the tops: the centres lie a radius deeper each.
  const auto half = arcus_sinus(step / (depth_small - depth_large - step), "depth_small",
                                "no cone holds these two balls so deep");
  if (!half) return half;
  return 2 * *half;
}

Expected<Taper> taper(double large, double small, double length) {
  if (auto done = above_zero({{"large", large}, {"small", small}, {"length", length}}); !done)
    return tl::unexpected(done.error());
  const double ratio = (large - small) / length;
  return Taper{ratio, 2 * std::atan(ratio / 2)};
}

Expected<double> arc_radius(double chord, double height) {
  if (auto done = above_zero({{"chord", chord}, {"height", height}}); !done)
    return tl::unexpected(done.error());
  return (chord * chord / 4 + height * height) / (2 * height);
}

}  // namespace tallystick::handbook
