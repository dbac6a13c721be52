// Derived features against published numbers: each row names its source. What stands in no row here (walls,
// depths, centre distances, parallelism, medians and spans) is common practice, no source.
#include <doctest/doctest.h>

#include <boost/json.hpp>
#include <cmath>
#include <fstream>
#include <sstream>

#include "daemon/measure/derive.hpp"
#include "daemon/measure/limits.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;
using Inputs = std::vector<derive::Input>;

namespace {

Quantity value(const std::string& text, const std::string& unit = "mm") {
  return Quantity::parse(text, Unit::named(unit).value()).value();
}
derive::Input one(const std::string& name, const std::string& text, const std::string& unit = "mm") {
  return {name, {value(text, unit)}, {}, {}};
}

derive::Derived found(const std::string& name, const Inputs& inputs, const std::string& unit) {
  const auto out = derive::derive(name, {}, inputs, Unit::named(unit).value());
  if (!out) FAIL(name << ": " << text(out.error()));
  return *out;
}

/// "large=12 mm;small=8 mm"
Inputs inputs_from(const std::string& text) {
  Inputs out;
  std::istringstream parts(text);
  for (std::string part; std::getline(parts, part, ';');) {
    const auto equals = part.find('='), blank = part.find(' ');
    out.push_back(
        one(part.substr(0, equals), part.substr(equals + 1, blank - equals - 1), part.substr(blank + 1)));
  }
  return out;
}

double number_in(const derive::Derived& derived, const std::string& unit) {
  return std::stod(shown_text(derived.value, Unit::named(unit).value(), 12));
}

}  // namespace

TEST_CASE("derived: published worked examples of shops, handbooks and standards") {
  int rows = 0;
  for (const auto& row : reference::rows("derived_published.csv")) {
    CAPTURE(row.at("source"));
    const auto derived = found(row.at("computation"), inputs_from(row.at("inputs")), row.at("unit"));
    const double off = std::abs(number_in(derived, row.at("unit")) - std::stod(row.at("published")));
    CAPTURE(derived.value.text());
    CHECK(off <= std::stod(row.at("within")));
    ++rows;
  }
  CHECK(rows == 18);
}

TEST_CASE("derived: sections of a turned part (ISO 12181 names; formula of the data's source)") {
  std::ifstream file(std::string(TALLYSTICK_SOURCE_DIR) + "/tests/reference/data/runout_lsc_examples.json");
  std::ostringstream text;
  text << file.rdbuf();
  const auto data = boost::json::parse(text.str()).as_object();
  int checked = 0;
  for (const auto& item : data.at("cases").as_array()) {
    const auto& given = item.as_object();
    CAPTURE(std::string(given.at("case").as_string()));
    std::vector<Quantity> readings;
    for (const auto& reading : given.at("readings_mm").as_array())
      readings.push_back(Quantity::of_count(std::llround(reading.to_number<double>() * 1e9), Unit()));
    const auto sweep = derive::sweep_figures(readings, 1);
    CHECK(sweep.error.empty());
    const Inputs once = {{"sweep", {}, {sweep}, {}}}, sections = {{"sweeps", {}, {sweep}, {}}};
    // MCC and MIC are one answer of several where the source gives none, and in "ten-micron readings"
    // (measure_form.cpp).
    const bool slides = given.at("case").as_string() == "ten-micron readings";
    for (const auto& [name, key] : {std::pair{"sweep_span", "TIR_mm"},
                                    {"eccentricity", "eccentricity_mm"},
                                    {"roundness", "roundness_LSC_RONt_mm"},
                                    {"roundness_minimum_zone", "roundness_MZC_mm"},
                                    {"roundness_circumscribed", "roundness_MCC_mm"},
                                    {"roundness_inscribed", "roundness_MIC_mm"},
                                    {"coaxiality", "twice_eccentricity_mm"},
                                    {"circular_runout", "TIR_mm"},
                                    {"total_runout", "TIR_mm"}}) {
      if (given.at(key).is_null() || (slides && std::string_view(key).find("_M") != std::string_view::npos &&
                                      std::string_view(key) != "roundness_MZC_mm"))
        continue;
      CAPTURE(name);
      const bool whole = std::string_view(name) == "coaxiality" || std::string_view(name).ends_with("runout");
      CHECK(std::abs(number_in(found(name, whole ? sections : once, "mm"), "mm") -
                     given.at(key).to_number<double>()) < 1e-8);
      ++checked;
    }
    if (given.at("direction_deg").is_null()) continue;
    const double turned = std::abs(number_in(found("eccentricity_direction", once, "deg"), "deg") -
                                   given.at("direction_deg").to_number<double>());
    CHECK(std::min(turned, 360 - turned) < 1e-4);
  }
  CHECK(checked >= 40);
}

TEST_CASE("derived: positions, and what a bonus leaves of them, by published rows") {
  int rows = 0;
  for (const auto& row : reference::rows("position_examples.csv")) {
    CAPTURE(row.at("case"));
    Inputs inputs = {one("x", row.at("dx")), one("y", row.at("dy")), one("nominal_x", "0"),
                     one("nominal_y", "0")};
    const auto position = found("position", inputs, "mm");
    CHECK(std::abs(number_in(position, "mm") - std::stod(row.at("position_2sqrt"))) <= 0.5e-6);
    auto judged = position.value;
    if (!row.at("mmc_feature").empty()) {
      inputs.push_back(one("size", row.at("actual_size")));
      inputs.push_back(one("bonus_from", row.at("mmc_size")));
      // The rows name maximum material only: the other size lies farther than any of their bonuses.
      const auto far = row.at("mmc_feature") == "hole" ? add(value(row.at("mmc_size")), value("0.1"))
                                                       : subtract(value(row.at("mmc_size")), value("0.1"));
      inputs.push_back({"bonus_to", {*far}, {}, {}});
      judged = found("position_less_bonus", inputs, "mm").value;
    }
    // What is left beyond the bonus is judged against the printed tolerance: the row's verdict.
    const auto limits = Limits::direct({}, value(row.at("tolerance")));
    CHECK((judge(*limits, judged)->verdict == Verdict::accept) == (row.at("verdict") == "PASS"));
    ++rows;
  }
  CHECK(rows == 6);
}

TEST_CASE("derived: pitch diameters over three wires, by published rows, in mm and in inches") {
  int rows = 0;
  for (const auto& row : reference::rows("thread_three_wire.csv")) {
    CAPTURE(row.at("thread"));
    const auto unit = row.at("unit");
    const auto over = add(value(row.at("M_over_wires"), unit), value(row.at("lead_angle_term_to_add"), unit));
    const auto derived = found("pitch_diameter",
                               {{"over_wires", {*over}, {}, {}},
                                one("wire", row.at("best_wire_W"), unit),
                                one("pitch", row.at("pitch_P"), unit),
                                one("angle", "60", "deg")},
                               unit);
    CHECK(std::abs(number_in(derived, unit) - std::stod(row.at("basic_pitch_dia_E"))) < 4e-6);
    ++rows;
  }
  CHECK(rows == 9);
}

TEST_CASE("derived: lengths at 20 degC, the exact ratio (formula of J. Res. NIST 99(1) 31)") {
  int rows = 0;
  for (const auto& row : reference::rows("thermal_examples.csv")) {
    CAPTURE(row.at("case"));
    const auto derived =
        found("at_reference",
              {one("length", row.at("indicated_mm")), one("part_temperature", row.at("t_part_C"), "degC"),
               one("scale_temperature", row.at("t_scale_C"), "degC"),
               one("part_expansion", row.at("alpha_part_1e-6"), "ppm"),
               one("scale_expansion", row.at("alpha_scale_1e-6"), "ppm")},
              "mm");
    CHECK(std::abs(number_in(derived, "mm") - std::stod(row.at("length_at_20C_exact_ratio_mm"))) <= 0.51e-6);
    ++rows;
  }
  CHECK(rows == 6);
}

TEST_CASE(
    "derived: six holes on 4 in, published: the first at 2.000, 0.000, neighbours 2.000 apart "
    "(formulafactory.tools)") {
  Inputs inputs = {{"x", {}, {}, {}},
                   {"y", {}, {}, {}},
                   one("nominal_diameter", "4", "in"),
                   one("first_hole", "0", "deg")};
  // Neighbours 2.000 apart on a circle of radius 2: equilateral triangles, so root 3 and whole numbers.
  const char* root = "1.732051";
  for (const auto& [x, y] : {std::pair{"2", "0"},
                             {"1", root},
                             {"-1", root},
                             {"-2", "0"},
                             {"-1", "-1.732051"},
                             {"1", "-1.732051"}}) {
    inputs[0].values.push_back(value(x, "in"));
    inputs[1].values.push_back(value(y, "in"));
  }
  CHECK(number_in(found("bolt_circle_position", inputs, "in"), "in") < 1e-6);
  CHECK(std::abs(number_in(found("bolt_circle_diameter", {inputs[0], inputs[1]}, "in"), "in") - 4) < 1e-6);
  inputs[0].values[0] = value("2.003", "in");
  inputs[1].values[0] = value("0.004", "in");
  CHECK(found("bolt_circle_position", inputs, "in").value.text() == "0.01");
}

TEST_CASE(
    "derived: a mean that binary sums lose (NIST StRD, data set NumAcc4: certified mean 10000000.2; from "
    "memory)") {
  derive::Input values{"values", {value("10000000.2")}, {}, {}};
  for (int n = 0; n < 500; ++n) {
    values.values.push_back(value("10000000.1"));
    values.values.push_back(value("10000000.3"));
  }
  CHECK(found("mean", {values}, "mm").value.text() == "10000000.2");
}
