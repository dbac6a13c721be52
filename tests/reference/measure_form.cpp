// Least-squares circle, runout and roundness of made-up sections, recomputed from the published formula;
// positions and sizes over wires from published rows. Sources: the heads of the files.
#include <doctest/doctest.h>

#include <boost/json.hpp>
#include <fstream>
#include <numbers>
#include <sstream>

#include "daemon/measure/form.hpp"
#include "daemon/measure/geometric.hpp"
#include "daemon/measure/handbook.hpp"
#include "daemon/measure/rounding.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;
using std::numbers::pi;

namespace {

Quantity mm(const std::string& text) { return *Quantity::parse(text, Unit()); }
double number(const boost::json::object& from, const char* key) { return from.at(key).to_number<double>(); }

}  // namespace

TEST_CASE(
    "sections of a turned part: circles, eccentricity, runout (ISO 12181 names; formula of the data's "
    "source)") {
  std::ifstream file(std::string(TALLYSTICK_SOURCE_DIR) + "/tests/reference/data/runout_lsc_examples.json");
  std::ostringstream text;
  text << file.rdbuf();
  const auto data = boost::json::parse(text.str()).as_object();
  REQUIRE(data.at("cases").as_array().size() == 5);
  constexpr double close = 1e-8;
  for (const auto& item : data.at("cases").as_array()) {
    const auto& one = item.as_object();
    CAPTURE(std::string(one.at("case").as_string()));
    std::vector<form::PolarReading> readings;
    for (std::size_t n = 0; n < one.at("readings_mm").as_array().size(); ++n)
      readings.push_back({one.at("angles_deg").as_array()[n].to_number<double>() * pi / 180,
                          one.at("readings_mm").as_array()[n].to_number<double>()});
    const auto found = form::section(readings);
    REQUIRE(found);
    CHECK(std::abs(found->runout - number(one, "TIR_mm")) < close);
    CHECK(std::abs(found->least_squares.mean - number(one, "lsc_R_mean_mm")) < close);
    CHECK(std::abs(found->least_squares.x - number(one, "lsc_a_mm")) < close);
    CHECK(std::abs(found->least_squares.y - number(one, "lsc_b_mm")) < close);
    CHECK(std::abs(found->eccentricity - number(one, "eccentricity_mm")) < close);
    if (!one.at("direction_deg").is_null()) {
      const double turned = std::abs(found->direction_rad * 180 / pi - number(one, "direction_deg"));
      CHECK(std::min(turned, 360 - turned) < 1e-4);
    }
    CHECK(std::abs(found->least_squares.roundness - number(one, "roundness_LSC_RONt_mm")) < close);
    CHECK(std::abs(found->least_squares.peak - number(one, "roundness_LSC_RONp_mm")) < close);
    CHECK(std::abs(found->least_squares.valley - number(one, "roundness_LSC_RONv_mm")) < close);
    CHECK(std::abs(found->minimum_zone.roundness - number(one, "roundness_MZC_mm")) < close);
    const auto touching = [&](const char* key, const form::Circle& circle) {
      CAPTURE(key);
      // Two opposite readings hold the circle of "ten-micron readings" as they hold the oval's, so its centre
      // may slide: the number in the data is one answer of several (both ends were worked out by trying every
      // three readings).
      const bool slides = one.at(key).is_null() || one.at("case").as_string() == "ten-micron readings";
      CHECK(circle.unique == !slides);
      if (!slides) CHECK(std::abs(circle.roundness - number(one, key)) < close);
    };
    touching("roundness_MCC_mm", found->circumscribed);
    touching("roundness_MIC_mm", found->inscribed);
  }
}

TEST_CASE("positions, with and without a bonus: published rows") {
  int rows = 0;
  for (const auto& row : reference::rows("position_examples.csv")) {
    CAPTURE(row.at("case"));
    const bool with_size = !row.at("mmc_feature").empty();
    geometric::Size size;
    if (with_size) {
      size.hole = row.at("mmc_feature") == "hole";
      size.actual = mm(row.at("actual_size"));
      const auto at_most = mm(row.at("mmc_size"));
      const auto away = mm("0.1");  // the rows name maximum material only; the other limit lies farther than
                                    // any of their bonuses
      size.limits = *Limits::direct(size.hole ? at_most : *subtract(at_most, away),
                                    size.hole ? *add(at_most, away) : at_most);
    }
    const auto found =
        geometric::position(mm(row.at("dx")), mm(row.at("dy")), mm(row.at("tolerance")),
                            with_size ? geometric::Material::maximum : geometric::Material::regardless,
                            with_size ? &size : nullptr);
    REQUIRE(found);
    CHECK(std::abs(in_millimetres(found->deviation) - std::stod(row.at("position_2sqrt"))) <= 0.5e-6);
    CHECK(found->bonus == mm(row.at("bonus")));
    CHECK(found->tolerance == mm(row.at("allowed")));
    CHECK((found->judgement.verdict == Verdict::accept) == (row.at("verdict") == "PASS"));
    ++rows;
  }
  CHECK(rows == 6);
}

TEST_CASE("pitch diameter over three wires: published rows") {
  int rows = 0;
  for (const auto& row : reference::rows("thread_three_wire.csv")) {
    CAPTURE(row.at("thread"));
    const handbook::Thread thread{std::stod(row.at("pitch_P")), pi / 3, 1};
    const double wire = std::stod(row.at("best_wire_W")), diameter = std::stod(row.at("basic_pitch_dia_E"));
    // The table's pitch has six digits (1/13 in), its other columns are rounded to six places.
    const double close = 3e-6;
    CHECK(std::abs(*handbook::best_wire(thread) - wire) < close);
    const auto over = handbook::over_wires(thread, diameter, wire, false);
    REQUIRE(over);
    CHECK(std::abs(over->over_wires - std::stod(row.at("M_over_wires"))) < close);
    const auto corrected = handbook::over_wires(thread, diameter, wire);
    REQUIRE(corrected);
    CHECK(std::abs(corrected->lead_correction - std::stod(row.at("lead_angle_term_to_add"))) < close);
    CHECK(std::abs(corrected->lead_angle_rad * 180 / pi - std::stod(row.at("lead_angle_deg"))) < 1e-3);
    const auto back = handbook::pitch_diameter(thread, corrected->over_wires, wire);
    REQUIRE(back);
    CHECK(std::abs(back->pitch_diameter - diameter) < 1e-9);
    ++rows;
  }
  CHECK(rows == 9);
}

TEST_CASE("over wires and pins: published worked examples, each by its formula") {
  const auto rows = reference::rows("over_wire_published_checks.csv");
  REQUIRE(rows.size() == 4);
  const auto published = [&](std::size_t n) { return std::stod(rows[n].at("published")); };
  // M = D - 1.5155 / n + 3 W for the old 60-degree form whose pitch diameter is D - 0.64952 / n.
  const handbook::Thread six{1.0 / 6, pi / 3, 1};
  CHECK(std::abs(handbook::over_wires(six, 1.5 - 0.649519 / 6, 0.140, false)->over_wires - published(0)) <
        1e-4);
  const handbook::Thread half_inch{25.4 / 13, pi / 3, 1};
  CHECK(std::abs(handbook::pitch_diameter(half_inch, 13, 1.128, false)->pitch_diameter - published(1)) <
        1e-3);
  CHECK(std::abs(*handbook::dovetail_width(published(2), 0.25, pi / 3) - 1.0) < 1e-4);
  CHECK(std::abs(1 - *handbook::dovetail_width(10, 1, pi / 3) - (published(3) - 9)) < 1e-6);
}

TEST_CASE("55 degrees: E = M - 3.16568 W + 0.96049 / n, best wire 0.56369 / n (published shop formula)") {
  for (const double threads : {6.0, 11.0, 20.0}) {
    const double pitch = 1 / threads;
    const handbook::Thread thread{pitch, 55 * pi / 180, 1};
    const double wire = *handbook::best_wire(thread);
    CHECK(std::abs(wire - 0.56369 / threads) < 1e-5 / threads);
    const auto found = handbook::pitch_diameter(thread, 1, wire, false);
    REQUIRE(found);
    CHECK(std::abs(found->pitch_diameter - (1 - 3.16568 * wire + 0.96049 / threads)) < 2e-5 * wire * 10);
  }
}

TEST_CASE("groove over balls: a larger ball reads d (1 + 1 / sin(A/2)) more") {
  // Published for a 40-degree groove: 2.776 mm balls (0.1093 in) read 1.084 mm more than 2.5 mm balls on the
  // same groove.
  const double angle = 40 * pi / 180, width = 3;
  const double small = *handbook::groove_diameter(80, 2.5, angle, width);
  const double large = *handbook::groove_diameter(80, 0.1093 * 25.4, angle, width);
  CHECK(std::abs(small - large - 1.084) < 5e-4);
  const auto found = handbook::groove_angle(80, 2.5, 80 + 1.084 / 1, 0.1093 * 25.4);
  REQUIRE(found);
  CHECK(std::abs(*found * 180 / pi - 40) < 0.05);
}
