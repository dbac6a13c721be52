// Sizes over wires, balls and rolls; angles; an arc.
#include <numbers>

#include "daemon/measure/handbook.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {
namespace {

using boost::json::object;
using std::numbers::pi;

/// The answer of a computation with one length.
Expected<object> one_length(InputFields& fields, const char* key, Expected<double> (*work)(InputFields&),
                            const char* working) {
  const auto found = work(fields);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  if (!found) return tl::unexpected(found.error());
  object out;
  if (auto done = put_length(out, key, *found); !done) return tl::unexpected(done.error());
  out["working"] = working;
  return out;
}

Expected<object> one_angle(InputFields& fields, Expected<double> (*work)(InputFields&), const char* working) {
  const auto found = work(fields);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  if (!found) return tl::unexpected(found.error());
  constexpr double counts_a_degree = 3.6e12;
  // To a thousandth of an arcsecond.
  const auto seconds = static_cast<std::int64_t>(std::llround(*found * 180 / pi * 3'600'000));
  return object{
      {"angle_dms", Quantity::of_count(seconds * static_cast<std::int64_t>(counts_a_degree / 3'600'000),
                                       *Unit::named("dms"))
                        .text()},
      {"angle_deg", *found * 180 / pi},
      {"working", working}};
}

Expected<object> over_wires_worked(const object& input) {
  InputFields fields(input);
  handbook::Thread thread;
  thread.pitch = fields.number("pitch_mm");
  thread.included_angle_rad = fields.optional_number("angle_deg").value_or(pi / 3);
  if (const auto starts = fields.optional_text("starts"))
    thread.starts = static_cast<int>(fields.quantity("starts", *starts, Unit()).count() / 1'000'000'000);
  const bool corrected = fields.optional_text("lead_angle").value_or("corrected") != "left_out";
  const auto measured = fields.optional_number("over_wires_mm"),
             wanted = fields.optional_number("pitch_diameter_mm");
  auto wire = fields.optional_number("wire_mm");
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto best = handbook::best_wire(thread);
  if (!best) return tl::unexpected(best.error());
  object out;
  if (auto done = put_length(out, "best_wire", *best); !done) return tl::unexpected(done.error());
  if (!measured && !wanted) return out;
  if (measured && wanted)
    return fail("contradiction", "both the reading and the pitch diameter are given",
                "over_wires_mm, pitch_diameter_mm", "give the one that is known");
  if (!wire) wire = *best;
  const auto found = measured ? handbook::pitch_diameter(thread, *measured, *wire, corrected)
                              : handbook::over_wires(thread, *wanted, *wire, corrected);
  if (!found) return tl::unexpected(found.error());
  for (const auto& [name, amount] : {std::pair{"wire", *wire},
                                     {"pitch_diameter", found->pitch_diameter},
                                     {"over_wires", found->over_wires},
                                     {"lead_correction", found->lead_correction},
                                     {"contact_from_pitch_line", found->contact_from_pitch_line}})
    if (auto done = put_length(out, name, amount); !done) return tl::unexpected(done.error());
  out["lead_angle_deg"] = found->lead_angle_rad * 180 / pi;
  out["working"] = "E = M - W (1 + 1 / sin a) + P cot(a) / 2 - lead correction, a half the thread's angle";
  return out;
}

Expected<object> over_balls_worked(const object& input) {
  InputFields fields(input);
  return one_length(
      fields, "diameter",
      [](InputFields& f) {
        const auto over = f.number("over_balls_mm"), ball = f.number("ball_mm"),
                   angle = f.number("groove_angle_deg"), width = f.number("width_mm");
        return handbook::groove_diameter(over, ball, angle, width);
      },
      "M - d (1 + 1 / sin(A/2)) + width cot(A/2): where the groove is so wide");
}

Expected<object> dovetail_worked(const object& input) {
  InputFields fields(input);
  return one_length(
      fields, "width",
      [](InputFields& f) {
        const auto over = f.number("over_rolls_mm"), roll = f.number("roll_mm"),
                   angle = f.number("angle_deg");
        return handbook::dovetail_width(over, roll, angle);
      },
      "M - d (1 + cot(A/2)): at the sharp corners where the rolls lie");
}

Expected<object> sine_bar_worked(const object& input) {
  InputFields fields(input);
  return one_angle(
      fields,
      [](InputFields& f) {
        const auto blocks = f.number("blocks_mm"), length = f.number("length_mm");
        return handbook::sine_bar(blocks, length);
      },
      "asin(blocks / length)");
}

Expected<object> two_rolls_worked(const object& input) {
  InputFields fields(input);
  return one_angle(
      fields,
      [](InputFields& f) {
        const auto large = f.number("large_mm"), small = f.number("small_mm"),
                   apart = f.number("centre_distance_mm");
        return handbook::two_rolls(large, small, apart);
      },
      "2 asin((D - d) / (2 distance)): the included angle");
}

Expected<object> two_balls_worked(const object& input) {
  InputFields fields(input);
  return one_angle(
      fields,
      [](InputFields& f) {
        const auto large = f.number("large_mm"), small = f.number("small_mm"),
                   deep = f.number("depth_large_mm"), deeper = f.number("depth_small_mm");
        return handbook::two_balls(large, small, deep, deeper);
      },
      "2 asin((R - r) / (depth small - depth large - (R - r))): the included angle");
}

Expected<object> taper_worked(const object& input) {
  InputFields fields(input);
  const auto large = fields.number("large_mm"), small = fields.number("small_mm"),
             length = fields.number("length_mm");
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto found = handbook::taper(large, small, length);
  if (!found) return tl::unexpected(found.error());
  return object{
      {"ratio", found->ratio},
      {"one_to", found->ratio == 0 ? boost::json::value(nullptr) : boost::json::value(1 / found->ratio)},
      {"included_angle_deg", found->included_angle_rad * 180 / pi},
      {"working", "(D - d) / length"}};
}

Expected<object> arc_worked(const object& input) {
  InputFields fields(input);
  return one_length(
      fields, "radius",
      [](InputFields& f) {
        const auto chord = f.number("chord_mm"), height = f.number("height_mm");
        return handbook::arc_radius(chord, height);
      },
      "(chord^2 / 4 + height^2) / (2 height)");
}

}  // namespace

const Computation over_wires_computation = {
    "over-wires",
    "Pitch diameter of a thread over three wires, or what to read for one",
    R"({"pitch_mm": "2.5", "angle_deg": "60", "pitch_diameter_mm": "18.3762", "wire_mm": "1.443"})",
    over_wires_worked,
    members_in_words,
    always_good};
const Computation over_balls_computation = {
    "over-balls",
    "Diameter of a V groove over two balls or pins",
    R"({"over_balls_mm": "86.5", "ball_mm": "2.5", "groove_angle_deg": "40", "width_mm": "3"})",
    over_balls_worked,
    members_in_words,
    always_good};
const Computation dovetail_computation = {
    "dovetail",
    "Width of an external dovetail over two rolls",
    R"({"over_rolls_mm": "42.746", "roll_mm": "6.35", "angle_deg": "60"})",
    dovetail_worked,
    members_in_words,
    always_good};
const Computation sine_bar_computation = {"sine-bar",
                                          "Angle of a sine bar on blocks",
                                          R"({"blocks_mm": "50", "length_mm": "100"})",
                                          sine_bar_worked,
                                          members_in_words,
                                          always_good};
const Computation two_rolls_computation = {
    "two-rolls",
    "Included angle of a taper by two rolls",
    R"({"large_mm": "20", "small_mm": "10", "centre_distance_mm": "60"})",
    two_rolls_worked,
    members_in_words,
    always_good};
const Computation two_balls_computation = {
    "two-balls",
    "Included angle of a conical bore by two balls",
    R"({"large_mm": "20", "small_mm": "10", "depth_large_mm": "5", "depth_small_mm": "50"})",
    two_balls_worked,
    members_in_words,
    always_good};
const Computation taper_computation = {"taper",
                                       "Taper from two diameters and their distance",
                                       R"({"large_mm": "25.4", "small_mm": "24.1", "length_mm": "26"})",
                                       taper_worked,
                                       members_in_words,
                                       always_good};
const Computation arc_computation = {"arc",
                                     "Radius of an arc from chord and height",
                                     R"({"chord_mm": "30", "height_mm": "2.5"})",
                                     arc_worked,
                                     members_in_words,
                                     always_good};

}  // namespace tallystick::cli
