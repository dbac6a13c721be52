#include "tools/cli/derived_examples.hpp"

#include <array>

namespace tallystick::cli {
namespace {

struct Example {
  std::string_view name, input;
};

constexpr std::string_view two_sweeps =
    R"({"lower": "0", "upper": "0.02", "sweeps": [{"turns": "1", "readings_mm": ["0.001", "0.004", "0.006", "0.003", "-0.001", "-0.002"]}, {"turns": "1", "readings_mm": ["0.002", "0.005", "0.005", "0.002", "0", "-0.001"]}]})";
constexpr std::string_view one_sweep =
    R"({"upper": "0.012", "sweep": {"turns": "1", "readings_mm": ["0.001", "0.004", "0.006", "0.003", "-0.001", "-0.002", "-0.001", "0"]}})";
constexpr std::string_view direction =
    R"({"sweep": {"turns": "1", "readings_mm": ["0.001", "0.004", "0.006", "0.003", "-0.001", "-0.002", "-0.001", "0"]}})";
constexpr std::string_view bore =
    R"({"values_mm": ["25.003", "25.006", "25.004"], "lower": "25", "upper": "25.021"})";
constexpr std::string_view cone = R"({"large_mm": "25.4", "small_mm": "24.1", "length_mm": "26"})";
constexpr std::string_view holes =
    R"({"x_mm": ["25.01", "0.02", "-24.99", "0"], "y_mm": ["0.01", "25", "0", "-25.01"]})";

constexpr std::array examples{
    Example{"arc_radius", R"({"chord_mm": "60", "height_mm": "10", "lower": "49.9", "upper": "50.1"})"},
    Example{"arc_radius_through_points", R"({"x_mm": ["-30", "0", "30"], "y_mm": ["0", "10", "0"]})"},
    Example{
        "at_reference",
        R"({"length_mm": "100", "part_temperature_degC": "25", "scale_temperature_degC": "22", "part": "aluminium 6061", "scale_expansion": "11.5", "part_temperature_uncertainty_delta_degC": "0.3", "scale_temperature_uncertainty_delta_degC": "0.3"})"},
    Example{"bolt_circle_centre_x", holes},
    Example{"bolt_circle_centre_y", holes},
    Example{"bolt_circle_diameter", holes},
    Example{
        "bolt_circle_pattern",
        R"({"x_mm": ["35.01", "10.02", "-14.99", "10"], "y_mm": ["0.01", "25", "0", "-25.01"], "nominal_diameter_mm": "50", "upper": "0.1"})"},
    Example{
        "bolt_circle_position",
        R"({"x_mm": ["25.01", "0.02", "-24.99", "0"], "y_mm": ["0.01", "25", "0", "-25.01"], "nominal_diameter_mm": "50", "first_hole_deg": "0", "upper": "0.1"})"},
    Example{
        "centre_distance",
        R"({"between_mm": "40", "diameter_a_mm": "8.01", "diameter_b_mm": "12.002", "lower": "49.95", "upper": "50.05"})"},
    Example{"circular_runout", two_sweeps},
    Example{"depth", R"({"far_mm": "12.35", "near_mm": "2.1", "lower": "10.2", "upper": "10.3"})"},
    Example{"difference", R"({"a_mm": "32.01", "b_mm": "31.99", "upper": "0.05"})"},
    Example{"dovetail_width", R"({"over_rolls_mm": "42.746", "roll_mm": "6.35", "angle_deg": "60"})"},
    Example{"eccentricity", one_sweep},
    Example{"eccentricity_direction", direction},
    Example{
        "formula",
        R"({"formula": "(outside - bore) / 2", "unit": "mm", "from": {"outside_mm": "32.045", "bore_mm": "25.005"}, "lower": "3.5", "upper": "3.54"})"},
    Example{"greatest", bore},
    Example{
        "groove_angle",
        R"({"over_small_mm": "80", "small_ball_mm": "2.5", "over_large_mm": "81.084", "large_ball_mm": "2.776"})"},
    Example{
        "groove_angle_error",
        R"({"over_small_mm": "80", "small_ball_mm": "2.5", "over_large_mm": "81.084", "large_ball_mm": "2.776", "angle_deg": "40", "lower": "-0.5", "upper": "0.5"})"},
    Example{"groove_diameter",
            R"({"over_balls_mm": "86.5", "ball_mm": "2.5", "groove_angle_deg": "40", "width_mm": "3"})"},
    Example{"least", bore},
    Example{"mean", bore},
    Example{"median", bore},
    Example{
        "pitch_diameter",
        R"({"over_wires_mm": "20.5433", "wire_mm": "1.443", "pitch_mm": "2.5", "angle_deg": "60", "starts": "1"})"},
    Example{
        "position_less_bonus",
        R"({"x_mm": "10.03", "y_mm": "19.96", "nominal_x_mm": "10", "nominal_y_mm": "20", "size_mm": "8.03", "bonus_from_mm": "8", "bonus_to_mm": "8.1", "upper": "0.08"})"},
    Example{"range", R"({"values_mm": ["25.003", "25.006", "25.004"], "upper": "0.005"})"},
    Example{"roundness", one_sweep},
    Example{"roundness_circumscribed", one_sweep},
    Example{"roundness_inscribed", one_sweep},
    Example{"roundness_minimum_zone", one_sweep},
    Example{"sine_bar_angle", R"({"blocks_mm": "50", "length_mm": "100", "unit": "dms"})"},
    Example{"sweep_span", one_sweep},
    Example{"taper_angle", cone},
    Example{"taper_ratio", cone},
    Example{"total_runout", two_sweeps},
    Example{"two_balls_angle",
            R"({"large_mm": "20", "small_mm": "10", "depth_large_mm": "5", "depth_small_mm": "50"})"},
    Example{"two_rolls_angle", R"({"large_mm": "20", "small_mm": "10", "centre_distance_mm": "60"})"},
    Example{"wall", R"({"outside_mm": "32.045", "inside_mm": "25.005", "lower": "3.5", "upper": "3.54"})"},
};

}  // namespace

std::string_view derived_example(std::string_view name) {
  for (const auto& one : examples)
    if (one.name == name) return one.input;
  return {};
}

}  // namespace tallystick::cli
