// Derived features: the table, each computation once with numbers that a pocket calculator gives.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "tests/measure/derive_given.hpp"

using namespace tallystick;
using given::line;
using given::list;
using given::one;
using given::value;

namespace {

using Inputs = std::vector<derive::Input>;

derive::Derived found(std::string_view name, const Inputs& inputs, std::string_view unit = "mm") {
  const auto out = derive::derive(name, {}, inputs, given::unit(unit));
  if (!out) FAIL(std::string(name) << ": " << text(out.error()));
  return *out;
}

std::string text_of(std::string_view name, const Inputs& inputs, std::string_view unit = "mm") {
  return written(found(name, inputs, unit).value, given::unit(unit)).text;
}

double degrees_of(std::string_view name, const Inputs& inputs) {
  return static_cast<double>(found(name, inputs, "deg").value.count()) / 3.6e12;
}

derive::SweepFigures swept(const std::vector<std::string>& texts, double turns = 1) {
  std::vector<Quantity> readings;
  for (const auto& text : texts) readings.push_back(value(text));
  return derive::sweep_figures(readings, turns);
}

}  // namespace

TEST_CASE("the table: in order, each with its source, its working and known kinds") {
  const auto all = derive::computations();
  CHECK(all.size() >= 40);
  CHECK(std::is_sorted(all.begin(), all.end(), [](const auto& a, const auto& b) { return a.name < b.name; }));
  for (const auto& one : all) {
    CAPTURE(one.name);
    CHECK(one.name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789_") == std::string_view::npos);
    for (const auto words : {one.about, one.source, one.working}) CHECK(!words.empty());
    CHECK((one.result == "length" || one.result == "angle" || one.result == "number" || one.result == "any"));
    CHECK(one.inputs.size() == one.kinds.size());
    CHECK(one.inputs.empty() == (one.name == "formula"));
    CHECK(*derive::computation_named(one.name) == &one);
  }
  const auto unknown = derive::computation_named("meen");
  REQUIRE(!unknown);
  CHECK(unknown.error().code == "unknown_word");
  CHECK(unknown.error().hint == "did you mean \"mean\"?");
}

TEST_CASE("means and spans are exact and keep the print's unit") {
  const Inputs bore = {list("values", {"25.003", "25.006", "25.004"})};
  CHECK(text_of("mean", bore) == "25.004333333");  // 75.013 / 3 to the picometre
  CHECK(text_of("median", bore) == "25.004");
  CHECK(text_of("range", bore) == "0.003");
  CHECK(text_of("greatest", bore) == "25.006");
  CHECK(text_of("least", bore) == "25.003");
  CHECK(line(found("mean", bore), "sum") == "75.013 mm");
  const Inputs inches = {list("values", {"1.0002", "1.0004"}, "in")};
  const auto mean = found("mean", inches, "in");
  CHECK(mean.value.unit().name() == "in");
  CHECK(mean.value.text() == "1.0003");
  CHECK(text_of("mean", {list("values", {"20.5", "21.5"}, "degC")}, "degC") == "21");
  CHECK(text_of("range", {list("values", {"20.5", "21.5"}, "degC")}, "delta-degC") == "1");
  CHECK(text_of("difference", {one("a", "20.5", "degC"), one("b", "21.5", "degC")}, "delta-degC") == "-1");
  CHECK(text_of("difference", {one("a", "1", "in"), one("b", "25")}) == "0.4");
}

TEST_CASE("walls, depths, centre distances") {
  CHECK(text_of("wall", {one("outside", "32.045"), one("inside", "25.004")}) == "3.5205");
  CHECK(text_of("depth", {one("far", "12.35"), one("near", "2.1")}) == "10.25");
  CHECK(text_of("centre_distance",
                {one("over", "60"), one("diameter_a", "8"), one("diameter_b", "12.002")}) == "49.999");
  CHECK(text_of("centre_distance",
                {one("between", "40"), one("diameter_a", "8"), one("diameter_b", "12.002")}) == "50.001");
  CHECK(text_of("centre_distance", {one("edge", "10.5"), one("diameter_a", "8.002")}) == "14.501");
}

TEST_CASE("tapers, angles, arcs") {
  const Inputs cone = {one("large", "25"), one("small", "20"), one("length", "50")};
  CHECK(text_of("taper_ratio", cone, "ratio") == "0.1");
  CHECK(line(found("taper_ratio", cone, "ratio"), "one_to") == "10 1");
  CHECK(degrees_of("taper_angle", cone) ==
        doctest::Approx(2 * std::atan(0.05) * 180 / std::numbers::pi).epsilon(1e-12));
  CHECK(degrees_of("sine_bar_angle", {one("blocks", "50"), one("length", "100")}) ==
        doctest::Approx(30).epsilon(1e-12));
  CHECK(degrees_of("two_rolls_angle", {one("large", "20"), one("small", "10"),
                                       one("centre_distance", "10")}) == doctest::Approx(60).epsilon(1e-12));
  CHECK(degrees_of("two_balls_angle", {one("large", "20"), one("small", "10"), one("depth_large", "5"),
                                       one("depth_small", "20")}) == doctest::Approx(60).epsilon(1e-12));
  // sagitta of a circle of radius 13 over a chord of 10: 13 - 12 = 1
  CHECK(text_of("arc_radius", {one("chord", "10"), one("height", "1")}) == "13");
  CHECK(text_of("arc_radius_through_points", {list("x", {"5", "-5", "0"}), list("y", {"12", "12", "13"})}) ==
        "13");
}

TEST_CASE("positions") {
  const Inputs hole = {one("x", "10.03"), one("y", "19.96"), one("nominal_x", "10"), one("nominal_y", "20")};
  CHECK(text_of("position", hole) == "0.1");
  CHECK(line(found("position", hole), "dx") == "0.03 mm");
  auto sized = hole;
  for (auto& more : {one("size", "8.03"), one("bonus_from", "8"), one("bonus_to", "8.1")})
    sized.push_back(more);
  CHECK(text_of("position_less_bonus", sized) == "0.07");
  auto shaft = hole;
  for (auto& more : {one("size", "7.98"), one("bonus_from", "8"), one("bonus_to", "7.9")})
    shaft.push_back(more);
  CHECK(text_of("position_less_bonus", shaft) == "0.08");
  sized[4] = one("size", "8.1");
  CHECK(text_of("position_less_bonus", sized) == "0");
  sized[4] = one("size", "7.99");
  CHECK(text_of("position_less_bonus", sized) == "0.1");
  CHECK(line(found("position_less_bonus", sized), "size_within_its_limits") == "0 1");
}

TEST_CASE("holes on a circle") {
  const Inputs holes = {list("x", {"25.03", "0", "-25", "0"}), list("y", {"0.04", "25", "0", "-25"})};
  auto judged = holes;
  judged.push_back(one("nominal_diameter", "50"));
  judged.push_back(one("first_hole", "0", "deg"));
  CHECK(text_of("bolt_circle_position", judged) == "0.1");
  CHECK(line(found("bolt_circle_position", judged), "worst_hole") == "1 1");
  judged.push_back(one("hole", "3", "count"));
  CHECK(text_of("bolt_circle_position", judged) == "0");
  const Inputs square = {list("x", {"11", "1", "-9", "1"}), list("y", {"2", "12", "2", "-8"})};
  CHECK(text_of("bolt_circle_diameter", square) == "20");
  CHECK(text_of("bolt_circle_centre_x", square) == "1");
  CHECK(text_of("bolt_circle_centre_y", square) == "2");
  auto pattern = square;
  pattern.push_back(one("nominal_diameter", "20.02"));
  CHECK(text_of("bolt_circle_pattern", pattern) == "0.02");
}

TEST_CASE("faces") {
  // A saddle: corners 0.005 up and down in turn.
  const Inputs face = {list("height", {"0.005", "-0.005", "0.005", "-0.005"}),
                       list("x", {"0", "40", "40", "0"}), list("y", {"0", "0", "40", "40"})};
  CHECK(text_of("flatness", face) == "0.01");
  CHECK(text_of("straightness", {list("height", {"0", "0.010", "0"}), list("x", {"0", "50", "100"})}) ==
        "0.01");
  CHECK(text_of("parallelism", {list("height", {"31.990", "32.003", "31.995"})}) == "0.013");
  CHECK(text_of("perpendicularity", {one("low", "0.002"), one("high", "0.012"), one("distance", "40"),
                                     one("length", "60")}) == "0.015");
}

TEST_CASE("sweeps") {
  // 0.05 cos(angle - 90 deg), twelve readings a turn, to the nanometre.
  const auto sweep = swept({"0", "0.025", "0.04330127", "0.05", "0.04330127", "0.025", "0", "-0.025",
                            "-0.04330127", "-0.05", "-0.04330127", "-0.025"});
  CHECK(sweep.error.empty());
  CHECK(sweep.samples == 12);
  const Inputs once = {given::sweeps("sweep", {sweep})};
  CHECK(text_of("sweep_span", once) == "0.1");
  CHECK(std::abs(std::stod(found("eccentricity", once).unrounded) - 0.05) < 1e-8);
  CHECK(degrees_of("eccentricity_direction", once) == doctest::Approx(90).epsilon(1e-9));
  for (const auto* name :
       {"roundness", "roundness_minimum_zone", "roundness_circumscribed", "roundness_inscribed"})
    CHECK(std::abs(std::stod(found(name, once).unrounded)) < 2e-8);
  const auto higher = swept({"0.1", "0.11", "0.12", "0.11"});
  const Inputs both = {given::sweeps("sweeps", {sweep, higher})};
  CHECK(text_of("circular_runout", both) == "0.1");
  CHECK(text_of("total_runout", both) == "0.17");
  CHECK(std::abs(std::stod(found("coaxiality", both).unrounded) - 0.1) < 2e-8);
  // An oval: its circles may slide along their long side; the roundest of them stands in the middle.
  const auto oval = swept({"0.01", "0.005", "-0.005", "-0.01", "-0.005", "0.005", "0.01", "0.005", "-0.005",
                           "-0.01", "-0.005", "0.005"});
  for (const auto* name : {"roundness_circumscribed", "roundness_inscribed"})
    CHECK(std::abs(std::stod(found(name, {given::sweeps("sweep", {oval})}).unrounded) - 0.02) < 1e-12);
  CHECK(text_of("circular_runout", {list("readings", {"0.003", "-0.008", "0.001"})}) == "0.011");
}

TEST_CASE("a length at 20 degrees") {
  // 100 (1 + 11.5e-6 * 5) / (1 + 23.6e-6 * 5)
  const Inputs warm = {one("length", "100"), one("part_temperature", "25", "degC"),
                       one("scale_temperature", "25", "degC"), given::word("part", "aluminium 6061"),
                       one("scale_expansion", "11.5", "ppm")};
  const auto brought = found("at_reference", warm);
  CHECK(std::abs(std::stod(brought.unrounded) - 100.0 * (1 + 57.5e-6) / (1 + 118e-6)) < 1e-12);
  CHECK(line(brought, "scale_growth") == "0.00575 mm");
}

TEST_CASE("a formula") {
  const Inputs inputs = {one("outside", "32.045"), one("inside", "25.005"), one("turned", "30", "deg")};
  const auto sum =
      derive::derive("formula", "(outside - inside) / 2 * sin(turned)", inputs, given::unit("mm"));
  REQUIRE(sum);
  CHECK(written(sum->value, given::unit("mm")).text == "1.76");
  CHECK(line(*sum, "inside") == "25.005 mm");
  const auto list_of =
      derive::derive("formula", "max(d_1, d_2, d_3) - min(d_1, d_2, d_3)",
                     Inputs{list("d", {"1.002", "1.005", "1.001"}, "in")}, given::unit("in"));
  REQUIRE(list_of);
  CHECK(list_of->value.text() == "0.004");
}

namespace {

derive::Shape shape_of(std::string_view listed, std::string_view kind) {
  derive::Shape out;
  out.name = std::string(listed.substr(0, listed.find_first_of(".?")));
  const bool list = listed.find("...") != std::string_view::npos;
  out.count = list ? 4 : 1;
  if (kind == "sweep") out.sweep = true;
  if (kind == "word") out.word = "invar";
  if (kind == "angle") out.unit = given::unit("deg");
  if (kind == "number") out.unit = given::unit("ratio");
  if (kind == "temperature") out.unit = given::unit("degC");
  if (kind == "temperature_difference") out.unit = given::unit("delta-degC");
  return out;
}

std::string_view unit_of(const derive::Computation& computation) {
  return computation.result == "angle" ? "deg" : computation.result == "number" ? "ratio" : "mm";
}

}  // namespace

TEST_CASE(
    "check: every computation takes what it lists, misses what is left out, and refuses another dimension") {
  std::size_t missed = 0, refused = 0;
  for (const auto& one : derive::computations()) {
    CAPTURE(one.name);
    std::vector<derive::Shape> needed;
    for (std::size_t n = 0; n < one.inputs.size(); ++n)
      if (!one.inputs[n].ends_with("?")) needed.push_back(shape_of(one.inputs[n], one.kinds[n]));
    // Those of which one of several is needed.
    if (one.name == "centre_distance") {
      needed.push_back(shape_of("over", "length"));
      needed.push_back(shape_of("diameter_b", "length"));
    }
    if (one.name.ends_with("_runout")) needed.push_back(shape_of("readings...", "length"));
    if (one.name == "at_reference")
      for (const auto* name : {"part", "scale"}) needed.push_back(shape_of(name, "word"));
    const auto formula = one.name == "formula" ? "1" : "";
    const auto unit = given::unit(one.name == "formula" ? "ratio" : unit_of(one));
    const auto sound = derive::check(one.name, formula, needed, unit);
    if (!sound) FAIL(text(sound.error()));
    CHECK(derive::check(one.name, formula, needed, given::unit("N")).has_value() == (one.name == "formula"));
    for (std::size_t n = 0; n < needed.size(); ++n) {
      auto without = needed;
      without.erase(without.begin() + static_cast<std::ptrdiff_t>(n));
      const auto lacking = derive::check(one.name, formula, without, unit);
      REQUIRE(!lacking);
      CHECK(lacking.error().code == "missing_field");
      CHECK(lacking.error().where == needed[n].name);
      ++missed;
      auto other = needed;
      other[n] = shape_of(needed[n].name, needed[n].sweep ? "length" : "sweep");
      const auto wrong = derive::check(one.name, formula, other, unit);
      REQUIRE(!wrong);
      CHECK(wrong.error().code == "wrong_unit");
      CHECK(wrong.error().where == needed[n].name);
      ++refused;
    }
  }
  CHECK(missed > 90);
  CHECK(refused == missed);
}

TEST_CASE("check: a formula is looked at before anything is measured") {
  const std::vector<derive::Shape> shapes = {shape_of("a", "length"), shape_of("b", "length"),
                                             shape_of("n", "number"), shape_of("t", "angle")};
  const auto code = [&](std::string_view formula, std::string_view unit) {
    const auto done = derive::check("formula", formula, shapes, given::unit(unit));
    return done ? std::string("sound") : done.error().code;
  };
  CHECK(code("(a - b) / 2", "mm") == "sound");
  CHECK(code("sqrt(a^2 - b^2)", "mm") == "sound");
  CHECK(code("asin((a - b) / (a + b)) + t", "deg") == "sound");
  CHECK(code("a / b * n", "ratio") == "sound");
  CHECK(code("a * b / n", "mm2") == "sound");  // an area grows as the square
  CHECK(code("a * b * a", "mm2") == "wrong_unit");
  CHECK(code("_pi / 4 * a^2 * b", "mm3") == "sound");
  CHECK(code("a > b ? a : b", "mm") == "sound");
  CHECK(code("a + 0.001", "mm") == "wrong_unit");
  CHECK(code("a * 25.4", "mm") == "sound");  // a factor: that it was meant as a unit, nobody can see
  CHECK(code("sqrt(n - 50)", "ratio") == "sound");
  CHECK(code("sqrt(-1 - n)", "ratio") == "bad_formula");
  CHECK(code("a + d", "mm") == "unknown_name");
  CHECK(code("a - a", "mm") == "sound");
}
