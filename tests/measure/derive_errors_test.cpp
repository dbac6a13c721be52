// Every error of every computation: its code, its input as the place, and a remedy.
#include <doctest/doctest.h>

#include <map>
#include <numbers>
#include <set>

#include "tests/measure/derive_given.hpp"

using namespace tallystick;
using given::list;
using given::one;

namespace {

using Inputs = std::vector<derive::Input>;

Error error_of(std::string_view name, const Inputs& inputs, std::string_view unit = "mm",
               std::string_view formula = {}) {
  const auto found = derive::derive(name, formula, inputs, given::unit(unit));
  if (found) FAIL(std::string(name) << " gives " << found->value.text());
  return found.error();
}

void fails(std::string_view name, const Inputs& inputs, std::string_view code, std::string_view where,
           std::string_view unit = "mm", std::string_view formula = {}) {
  const auto error = error_of(name, inputs, unit, formula);
  CAPTURE(name);
  CAPTURE(text(error));
  CHECK(error.code == code);
  CHECK(error.where == where);
  CHECK(!error.what.empty());
  for (const char c : text(error)) CHECK((c >= 0x20 && c < 0x7f));
}

/// With one input in another's place.
Inputs with(Inputs inputs, const derive::Input& other) {
  for (auto& input : inputs)
    if (input.name == other.name) {
      input = other;
      return inputs;
    }
  inputs.push_back(other);
  return inputs;
}

derive::SweepFigures sweep(const std::vector<std::string>& texts, double turns = 1) {
  std::vector<Quantity> readings;
  for (const auto& text : texts) readings.push_back(given::value(text));
  return derive::sweep_figures(readings, turns);
}

const std::string largest = "9223372036.854775807";  // mm: the largest count

}  // namespace

TEST_CASE("derive: what no computation takes") {
  fails("nothing", {}, "unknown_word", "computation");
  const Inputs wall = {one("outside", "32"), one("inside", "25")};
  fails("wall", {one("outside", "32")}, "missing_field", "inside");
  fails("wall", with(wall, one("insid", "25")), "unknown_name", "insid");
  CHECK(error_of("wall", with(wall, one("insid", "25"))).hint == "did you mean \"inside\"?");
  fails("wall", {one("outside", "32"), one("inside", "25"), one("inside", "25")}, "contradiction", "inside");
  fails("wall", with(wall, one("inside", "25", "deg")), "wrong_unit", "inside");
  fails("wall", with(wall, given::word("inside", "steel")), "wrong_unit", "inside");
  fails("wall", with(wall, given::sweeps("inside", {sweep({"0", "1", "0", "1"})})), "wrong_unit", "inside");
  fails("wall", with(wall, list("inside", {"25", "25.1"})), "wrong_number_of_values", "inside");
  fails("wall", with(wall, {"inside", {}, {}, {}}), "missing_field", "inside");
  fails("wall", with(wall, {"inside", {given::value("25")}, {}, "steel"}), "contradiction", "inside");
  fails("wall", wall, "wrong_unit", "unit", "deg");
  fails("wall", wall, "bad_formula", "formula", "mm", "outside - inside");
  auto mixed = list("values", {"1", "2"});
  mixed.values.push_back(given::value("3", "deg"));
  fails("mean", {mixed}, "wrong_unit", "values");
}

TEST_CASE("derive: means, spans, differences") {
  for (const auto* name : {"mean", "median", "greatest", "least"}) {
    fails(name, {}, "missing_field", "values");
    fails(name, {{"values", {}, {}, {}}}, "missing_field", "values");
    fails(name, {one("values", "20", "degC")}, "wrong_unit", "unit");
    fails(name, {one("values", "1", "N")}, "wrong_unit", "unit", "kN");
  }
  fails("range", {one("values", "1")}, "too_few_points", "values");
  fails("range", {list("values", {largest, "-" + largest})}, "overflow", "values");
  fails("range", {list("values", {"20", "21"}, "degC")}, "wrong_unit", "unit", "degC");
  fails("difference", {one("a", "1"), one("b", "1", "deg")}, "wrong_unit", "b");
  fails("difference", {one("a", largest), one("b", "-1")}, "overflow", "a");
  fails("difference", {one("a", "20", "degC"), one("b", "20", "degC")}, "wrong_unit", "unit", "degC");
  fails("wall", {one("outside", "25"), one("inside", "25.001")}, "out_of_range", "inside");
  fails("wall", {one("outside", largest), one("inside", "-1")}, "overflow", "outside");
  fails("depth", {one("far", "1"), one("near", "2")}, "out_of_range", "near");
  fails("depth", {one("far", largest), one("near", "-1")}, "overflow", "far");
}

TEST_CASE("derive: centre distances") {
  const Inputs two = {one("diameter_a", "8"), one("diameter_b", "12")};
  fails("centre_distance", two, "missing_field", "over");
  fails("centre_distance", with(with(two, one("over", "60")), one("between", "40")), "contradiction",
        "between");
  fails("centre_distance", with(two, one("edge", "40")), "contradiction", "diameter_b");
  fails("centre_distance", {one("diameter_a", "8"), one("over", "60")}, "missing_field", "diameter_b");
  fails("centre_distance", {one("over", "60"), one("diameter_b", "8")}, "missing_field", "diameter_a");
  fails("centre_distance", with(two, one("over", "10")), "out_of_range", "over");
  fails("centre_distance", with(with(two, one("over", "60")), one("diameter_b", "0")), "out_of_range",
        "diameter_b");
  fails("centre_distance", with(with(two, one("over", "60")), one("diameter_a", "-8")), "out_of_range",
        "diameter_a");
  fails("centre_distance", with(two, one("between", largest)), "overflow", "between");
}

TEST_CASE("derive: the handbook's") {
  for (const auto* name : {"taper_ratio", "taper_angle"}) {
    const std::string_view unit = std::string_view(name) == "taper_ratio" ? "ratio" : "deg";
    const Inputs cone = {one("large", "25"), one("small", "20"), one("length", "50")};
    for (const auto* input : {"large", "small", "length"})
      fails(name, with(cone, one(input, "0")), "out_of_range", input, unit);
  }
  fails("taper_ratio", {one("large", "25"), one("small", "20"), one("length", "50")}, "wrong_unit", "unit",
        "percent");
  fails("taper_ratio", {one("large", "9000000"), one("small", "1"), one("length", "0.000000001")}, "overflow",
        "unit", "ratio");
  fails("sine_bar_angle", {one("blocks", "100"), one("length", "100")}, "out_of_range", "blocks", "deg");
  fails("sine_bar_angle", {one("blocks", "0"), one("length", "100")}, "out_of_range", "blocks", "deg");
  fails("sine_bar_angle", {one("blocks", "1"), one("length", "-1")}, "out_of_range", "length", "deg");
  const Inputs rolls = {one("large", "20"), one("small", "10"), one("centre_distance", "60")};
  fails("two_rolls_angle", with(rolls, one("small", "20")), "out_of_range", "large", "deg");
  fails("two_rolls_angle", with(rolls, one("small", "-1")), "out_of_range", "small", "deg");
  fails("two_rolls_angle", with(rolls, one("centre_distance", "5")), "out_of_range", "centre_distance",
        "deg");
  const Inputs balls = {one("large", "20"), one("small", "10"), one("depth_large", "5"),
                        one("depth_small", "50")};
  fails("two_balls_angle", with(balls, one("small", "20")), "out_of_range", "large", "deg");
  fails("two_balls_angle", with(balls, one("small", "0")), "out_of_range", "small", "deg");
  fails("two_balls_angle", with(balls, one("depth_small", "8")), "out_of_range", "depth_small", "deg");
  fails("two_balls_angle", with(balls, one("depth_small", "10")), "not_a_number", "depth_small", "deg");
  const Inputs dovetail = {one("over_rolls", "42"), one("roll", "6"), one("angle", "60", "deg")};
  fails("dovetail_width", with(dovetail, one("over_rolls", "1")), "out_of_range", "over_rolls");
  fails("dovetail_width", with(dovetail, one("roll", "0")), "out_of_range", "roll");
  fails("dovetail_width", with(dovetail, one("angle", "90", "deg")), "out_of_range", "angle");
  fails("arc_radius", {one("chord", "10"), one("height", "0")}, "out_of_range", "height");
  fails("arc_radius", {one("chord", "-10"), one("height", "1")}, "out_of_range", "chord");
  fails("arc_radius", {one("chord", "9000000"), one("height", "0.000000001")}, "overflow", "unit");
  fails("arc_radius_through_points", {list("x", {"0", "1", "2"}), list("y", {"0", "1", "2"})}, "collinear",
        "x");
  fails("arc_radius_through_points", {list("x", {"0", "1"}), list("y", {"0", "1"})}, "too_few_points", "x");
  fails("arc_radius_through_points", {list("x", {"0", "1", "2"}), list("y", {"0", "1", "2", "3"})},
        "wrong_number_of_values", "y");
}

TEST_CASE("derive: threads and grooves") {
  const Inputs thread = {one("over_wires", "20.5433"), one("wire", "1.443"), one("pitch", "2.5"),
                         one("angle", "60", "deg")};
  fails("pitch_diameter", with(thread, one("wire", "0.5")), "wire_does_not_touch", "wire");
  fails("pitch_diameter", with(thread, one("wire", "9")), "wire_does_not_touch", "wire");
  fails("pitch_diameter", with(thread, one("wire", "0")), "out_of_range", "wire");
  fails("pitch_diameter", with(thread, one("pitch", "0")), "out_of_range", "pitch");
  fails("pitch_diameter", with(thread, one("angle", "180", "deg")), "out_of_range", "angle");
  fails("pitch_diameter", with(thread, one("over_wires", "1")), "out_of_range", "over_wires");
  fails("pitch_diameter", with(thread, one("over_wires", "2.5")), "out_of_range",
        "pitch");  // hardly any core is left
  for (const auto* starts : {"0", "1.5", "-1", "101"})
    fails("pitch_diameter", with(thread, one("starts", starts, "count")), "out_of_range", "starts");
  fails("pitch_diameter", with(thread, one("starts", "2")), "wrong_unit", "starts");
  const Inputs groove = {one("over_balls", "86"), one("ball", "2.5"), one("groove_angle", "40", "deg"),
                         one("width", "3")};
  for (const auto* input : {"over_balls", "ball", "width"})
    fails("groove_diameter", with(groove, one(input, "0")), "out_of_range", input);
  fails("groove_diameter", with(groove, one("groove_angle", "0", "deg")), "out_of_range", "groove_angle");
  fails("groove_diameter", with(groove, one("over_balls", "1")), "out_of_range", "over_balls");
  for (const auto* name : {"groove_angle", "groove_angle_error"}) {
    Inputs two = {one("over_small", "80"), one("small_ball", "2.5"), one("over_large", "81"),
                  one("large_ball", "2.776")};
    if (std::string_view(name) == "groove_angle_error") two.push_back(one("angle", "40", "deg"));
    for (const auto* input : {"over_small", "small_ball", "over_large"})
      fails(name, with(two, one(input, "0")), "out_of_range", input, "deg");
    fails(name, with(two, one("large_ball", "2.5")), "out_of_range", "large_ball", "deg");
    fails(name, with(two, one("over_large", "80.3")), "out_of_range", "over_large", "deg");
  }
  fails(
      "groove_angle_error",
      {one("over_small", "80"), one("small_ball", "2.5"), one("over_large", "81"), one("large_ball", "2.7")},
      "missing_field", "angle", "deg");
}

TEST_CASE("derive: sweeps") {
  const auto short_one = sweep({"0", "1", "2"});
  CHECK(short_one.error == "too_few_points");
  CHECK(short_one.samples == 3);
  CHECK(short_one.span.empty());
  CHECK(sweep({"0", "1", "2", "3"}, 0).error == "out_of_range");
  CHECK(sweep({"0", "1", "2", "3"}, 0.25).error == "no_full_turn");
  CHECK(derive::sweep_figures({}, 1).error == "too_few_points");
  const std::vector<Quantity> warm(5, given::value("20", "degC"));
  CHECK(derive::sweep_figures(warm, 1).error == "wrong_unit");
  auto torn = sweep({"0", "1", "2", "1"});
  torn.span = torn.eccentricity = torn.roundness = torn.minimum_zone = torn.circumscribed = torn.inscribed =
      "nan";
  torn.least = torn.greatest = torn.direction = "1e999";
  const auto partial = sweep({"0", "1", "2", "1"}, 0.25);
  for (const auto* name : {"sweep_span", "eccentricity", "eccentricity_direction", "roundness",
                           "roundness_minimum_zone", "roundness_circumscribed", "roundness_inscribed"}) {
    const std::string_view unit = std::string_view(name) == "eccentricity_direction" ? "deg" : "mm";
    fails(name, {given::sweeps("sweep", {short_one})}, "too_few_points", "sweep", unit);
    fails(name, {given::sweeps("sweep", {partial})}, "no_full_turn", "sweep", unit);
    fails(name, {given::sweeps("sweep", {torn})}, "not_a_number", "sweep", unit);
    fails(name, {one("sweep", "1")}, "wrong_unit", "sweep", unit);
    fails(name, {}, "missing_field", "sweep", unit);
    fails(name, {given::sweeps("sweep", {torn, torn})}, "wrong_number_of_values", "sweep", unit);
  }
  fails("eccentricity_direction", {given::sweeps("sweep", {sweep({"1", "1", "1", "1"})})}, "not_determined",
        "sweep", "deg");
  for (const auto* name : {"coaxiality", "circular_runout", "total_runout"}) {
    fails(name, {given::sweeps("sweeps", {sweep({"0", "1", "2", "1"}), short_one})}, "too_few_points",
          "sweeps");
    fails(name, {given::sweeps("sweeps", {torn})}, "not_a_number", "sweeps");
  }
  fails("coaxiality", {}, "missing_field", "sweeps");
  for (const auto* name : {"circular_runout", "total_runout"}) {
    fails(name, {}, "missing_field", "readings");
    fails(name, {one("readings", "1")}, "too_few_points", "readings");
    fails(name, {list("readings", {"1", "2"}), given::sweeps("sweeps", {short_one})}, "contradiction",
          "sweeps");
    fails(name, {list("readings", {largest, "-" + largest})}, "overflow", "readings");
  }
}

TEST_CASE("derive: places, faces, holes") {
  const Inputs hole = {one("x", "10"), one("y", "20"), one("nominal_x", "10"), one("nominal_y", "20")};
  fails("position", with(with(hole, one("x", largest)), one("nominal_x", "-1")), "overflow", "x");
  fails("position", with(with(hole, one("y", largest)), one("nominal_y", "-1")), "overflow", "y");
  fails("position", with(with(hole, one("x", largest)), one("nominal_x", "0")), "overflow", "x");
  auto sized = hole;
  for (const auto& more : {one("size", "8"), one("bonus_from", "8"), one("bonus_to", "8")})
    sized.push_back(more);
  fails("position_less_bonus", sized, "out_of_range", "bonus_to");
  fails("position_less_bonus", with(with(sized, one("bonus_to", "9")), one("size", "-" + largest)),
        "overflow", "size");
  fails("position_less_bonus",
        with(with(with(sized, one("bonus_to", "9")), one("x", largest)), one("nominal_x", "-1")), "overflow",
        "x");
  fails("position_less_bonus",
        with(with(with(sized, one("bonus_to", "9")), one("y", largest)), one("nominal_y", "-1")), "overflow",
        "y");

  const Inputs face = {list("height", {"0", "1", "0", "1"}), list("x", {"0", "1", "2", "3"}),
                       list("y", {"0", "0", "0", "0"})};
  fails("flatness", face, "not_determined", "x");
  fails("flatness", with(face, list("y", {"0", "0", "1"})), "too_few_points", "y");
  fails("flatness", with(face, list("y", {"0", "0", "1", "1", "2"})), "wrong_number_of_values", "y");
  fails("flatness", with(face, list("x", {"0", "0", "1", "1", "2"})), "wrong_number_of_values", "x");
  fails("straightness", {list("height", {"0", "1"}), list("x", {"0", "1"})}, "too_few_points", "height");
  fails("straightness", {list("height", {"0", "1", "2"}), list("x", {"0", "0", "0"})}, "not_determined", "x");
  fails("straightness", {list("height", {"0", "1", "2"}), list("x", {"0", "0", "0", "1"})},
        "wrong_number_of_values", "x");
  fails("parallelism", {one("height", "1")}, "too_few_points", "height");
  fails("parallelism", {list("height", {largest, "-" + largest})}, "overflow", "height");
  const Inputs square = {one("low", "0"), one("high", "0.01"), one("distance", "40"), one("length", "60")};
  fails("perpendicularity", with(square, one("distance", "0")), "out_of_range", "distance");
  fails("perpendicularity", with(square, one("length", "39")), "out_of_range", "length");
  fails("perpendicularity", with(with(square, one("high", "9000000")), one("distance", "0.01")), "overflow",
        "length");

  const Inputs line = {list("x", {"0", "1", "2", "3"}), list("y", {"0", "1", "2", "3"})};
  const Inputs round = {list("x", {"25", "0", "-25", "0"}), list("y", {"0", "25", "0", "-25"})};
  for (const auto* name : {"bolt_circle_diameter", "bolt_circle_centre_x", "bolt_circle_centre_y"}) {
    fails(name, line, "collinear", "x");
    fails(name, {list("x", {"0", "1"}), list("y", {"0", "1"})}, "too_few_points", "x");
    fails(name, with(round, list("y", {"0", "1", "2"})), "wrong_number_of_values", "y");
  }
  for (const auto* name : {"bolt_circle_position", "bolt_circle_pattern"}) {
    auto judged = with(with(round, one("nominal_diameter", "50")), one("first_hole", "0", "deg"));
    fails(name, with(judged, one("nominal_diameter", "0")), "out_of_range", "nominal_diameter");
    for (const auto* wrong : {"0", "5", "1.5"})
      fails(name, with(judged, one("hole", wrong, "count")), "out_of_range", "hole");
    fails(name, with(with(judged, line[0]), line[1]), "collinear", "x");
    fails(name, round, "missing_field", "nominal_diameter");
    fails(name, with(with(judged, one("nominal_diameter", largest)), one("first_hole", "180", "deg")),
          "overflow", "x");
  }
  fails("bolt_circle_position", with(round, one("nominal_diameter", "50")), "missing_field", "first_hole");
  // Clockwise, and every second first: no turn of the print's places fits them.
  fails(
      "bolt_circle_pattern",
      {list("x", {"25", "0", "-25", "0"}), list("y", {"0", "-25", "0", "25"}), one("nominal_diameter", "50")},
      "not_determined", "x");
}

TEST_CASE("derive: temperatures") {
  const Inputs warm = {one("length", "100"), one("part_temperature", "25", "degC"),
                       one("scale_temperature", "22", "degC"), given::word("part", "aluminium 6061"),
                       one("scale_expansion", "11.5", "ppm")};
  fails("at_reference", {warm[0], warm[3], warm[4]}, "missing_field", "part_temperature");
  fails("at_reference", with(warm, given::word("part", "cheese")), "unknown_material", "part");
  fails("at_reference", {warm[0], warm[1], warm[4]}, "missing_field", "part");
  fails("at_reference", {warm[0], warm[1], warm[3]}, "missing_field", "scale");
  fails("at_reference", with(warm, given::word("scale", "invar")), "contradiction", "scale_expansion");
  fails("at_reference", with(warm, one("part_expansion", "23", "ppm")), "contradiction", "part_expansion");
  fails("at_reference", with(warm, one("scale_expansion", "0.0000115", "ratio")), "out_of_range",
        "scale_expansion");
  fails("at_reference", with(warm, one("scale_expansion", "1001", "ppm")), "out_of_range", "scale_expansion");
  fails("at_reference", with(warm, one("length", "0")), "out_of_range", "length");
  fails("at_reference", with(warm, one("part_temperature", "41", "degC")), "out_of_range",
        "part_temperature");
  fails("at_reference", with(warm, one("scale_temperature", "9", "degC")), "out_of_range",
        "scale_temperature");
  fails("at_reference", with(warm, one("greatest_temperature", "24", "degC")), "out_of_range",
        "part_temperature");
  fails("at_reference", with(warm, one("least_temperature", "23", "degC")), "out_of_range",
        "scale_temperature");
  fails("at_reference",
        with(with(warm, one("least_temperature", "23", "degC")), one("greatest_temperature", "22", "degC")),
        "out_of_range", "least_temperature");
  fails("at_reference", with(warm, one("part_temperature_uncertainty", "-1", "delta-degC")), "out_of_range",
        "part_temperature_uncertainty");
  fails("at_reference", with(warm, one("scale_expansion_uncertainty", "-1", "ppm")), "out_of_range",
        "scale_expansion_uncertainty");
  fails("at_reference", with(warm, one("part_temperature_uncertainty", "1", "degC")), "wrong_unit",
        "part_temperature_uncertainty");
  // Without a temperature of its own the scale is as warm as the part, and its fault is the part's.
  fails("at_reference", {warm[0], one("part_temperature", "41", "degC"), warm[3], warm[4]}, "out_of_range",
        "part_temperature");
}

TEST_CASE("formula: what cannot be read names the place and what stands there") {
  const Inputs inputs = {one("a", "12"), one("b", "5"), one("t", "30", "deg")};
  struct Case {
    const char *formula, *code, *what;
  };
  for (const auto& [formula, code, what] : {
           Case{"", "bad_formula", "empty"},
           Case{"   ", "bad_formula", "empty"},
           Case{"a +", "bad_formula", "at its end"},
           Case{"a + * b", "bad_formula", "at character 5, \"*\""},
           Case{"(a + b", "bad_formula", "parenthesis is missing"},
           Case{"a + b)", "bad_formula", "at character 6, \")\""},
           Case{"a b", "bad_formula", "at character 3, \"b\""},
           Case{"a + c", "unknown_name", "at character 5, \"c\""},
           Case{"sqr(a)", "unknown_name", "\"sqr\""},
           Case{"a = 3", "bad_formula", "at character 3, \"=\": a formula assigns nothing"},
           Case{"a, b", "bad_formula", "several values"},
           Case{"sin()", "bad_formula", "more arguments"},
           Case{"sin(a, b)", "bad_formula", "fewer arguments"},
           Case{"a ? b", "bad_formula", "colon"},
           Case{"a : b", "bad_formula", ":"},
           Case{"\"a\"", "bad_formula", "at character 1"},
           Case{"a + \xc3\xa4", "bad_formula", "at character 5"},
           Case{"a $ b", "bad_formula", "\"$\""},
           Case{"1.2.3", "bad_formula", "character"},
           Case{"a + 1", "wrong_unit", "does not grow as a length must"},
           Case{"a * b", "wrong_unit", "does not grow"},
           Case{"a / b", "wrong_unit", "instead of"},
           Case{"a > 40 ? a : b", "wrong_unit", "does not grow"},
           Case{"sqrt(-1 - a / b) * a", "bad_formula", "at none of the points"},
       }) {
    CAPTURE(formula);
    const auto error = error_of("formula", inputs, "mm", formula);
    CHECK(error.code == code);
    CHECK(error.where == "formula");
    CAPTURE(error.what);
    CHECK(error.what.find(what) != std::string::npos);
    CHECK(!error.hint.empty());
  }
  CHECK(error_of("formula", inputs, "mm", "sqr(a)").hint == "did you mean \"sqrt\"?");
  fails("formula", inputs, "bad_formula", "formula", "mm", std::string(1001, 'a'));
  fails("formula", inputs, "wrong_unit", "formula", "deg", "a + t");
  fails("formula", inputs, "wrong_unit", "formula", "ratio", "a");
}

TEST_CASE("formula: inputs that it cannot have") {
  fails("formula", {one("sin", "1")}, "bad_formula", "sin", "mm", "sin");
  fails("formula", {one("_pi", "1")}, "bad_formula", "_pi", "mm", "_pi");
  fails("formula", {one("a-b", "1")}, "bad_formula", "a-b", "mm", "a");
  fails("formula", {one("", "1")}, "bad_formula", "", "mm", "1");
  fails("formula", {one(std::string(41, 'a'), "1")}, "bad_formula", std::string(41, 'a'), "mm", "1");
  fails("formula", {one("a", "1"), one("a", "1")}, "contradiction", "a", "mm", "a");
  fails("formula", {list("a", {"1", "2"}), one("a_1", "1")}, "contradiction", "a_1", "mm", "a_1");
  fails("formula", {given::word("a", "steel")}, "wrong_unit", "a", "mm", "a");
  fails("formula", {given::sweeps("a", {sweep({"0", "1", "2", "1"})})}, "wrong_unit", "a", "mm", "a");
}

TEST_CASE("formula: no NaN and no infinity gets out, and the values that gave it are named") {
  const Inputs level = {one("a", "5"), one("b", "5")};
  const auto error = error_of("formula", level, "ratio", "a / (a - b)");
  CHECK(error.code == "not_a_number");
  CHECK(error.what == "the formula gives infinity with a = 5, b = 5");
  fails("formula", {one("a", "5"), one("b", "6")}, "not_a_number", "formula", "mm", "sqrt(a^2 - b^2)");
  fails("formula", {one("a", "9000000"), one("b", "0.000000001")}, "overflow", "formula", "mm",
        "a * (a / b)");
}
