// Derived features, uncertainty and finishes of a family: worked out for each size, and told where they are wrong.
#include <doctest/doctest.h>

#include <algorithm>

#include "daemon/checklist/family.hpp"

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

// Invented: a sheave.
const std::string head = R"toml([family]
key = "sheave"
title = "Sheave (invented)"
sizes = "sheave.csv"
[columns]
body = "print"
bore = "print"
ball = "print"
circle = "print"
alloy = "text"
)toml";
const std::string readings = R"toml([[feature]]
key = "body"
balloon = "1"
name = "body"
lower = "body - 0.05 mm"
upper = "body"
decimals = 3
gauge_kind = "outside-micrometer"
places = ["at 0", "at 90"]
material = "outside"
[[feature]]
key = "bore"
balloon = "2"
name = "bore"
nominal = "bore"
fit = "H7"
decimals = 3
gauge_kind = "bore-gauge"
material = "inside"
[[feature]]
key = "over-balls"
balloon = "3"
name = "over balls"
judged = false
plausible_lower = "body - 5 mm"
plausible_upper = "body + 5 mm"
decimals = 3
gauge_kind = "outside-micrometer"
[[feature]]
key = "hole-x"
balloon = "4"
name = "hole {n}, x"
count = 3
judged = false
plausible_lower = "-100 mm"
plausible_upper = "100 mm"
decimals = 3
gauge_kind = "height-gauge"
[[feature]]
key = "hole-y"
balloon = "5"
name = "hole {n}, y"
count = 3
judged = false
plausible_lower = "-100 mm"
plausible_upper = "100 mm"
decimals = 3
gauge_kind = "height-gauge"
)toml";
const std::string derived = R"toml([[feature]]
key = "out-of-round"
balloon = "6"
name = "out of round"
kind = "derived"
computation = "range"
from = { values = "body" }
upper = "0.01 mm"
decimals = 3
[[feature]]
key = "wall"
balloon = "7"
name = "wall"
kind = "derived"
computation = "formula"
formula = "(outside - inside) / 2"
from = { outside = "body / at 90", inside = "bore" }
lower = "5 mm"
upper = "25 mm"
decimals = 3
[[feature]]
key = "bolt-circle"
balloon = "8"
name = "bolt circle"
kind = "derived"
computation = "bolt_circle_diameter"
from = { x = "hole-x", y = "hole-y" }
nominal = "circle"
plus_minus = "0.1 mm"
decimals = 3
)toml";

struct Read {
  Family family;
  std::vector<Fault> faults;
};

Read read(const std::string& toml) {
  Read out;
  const auto file = [&](const std::string& name) -> Expected<std::string> {
    if (name == "sheave.csv")
      return std::string("size,print_revision,part_number,print_unit,body,bore,ball,circle,alloy\n"
                         "S-80,A,S-80-A,mm,80,25,4,60,aluminium 6061\n");
    return fail("cannot_read", "there is no " + name);
  };
  out.family = read_family(toml, "sheave.family.toml", file, out.faults);
  return out;
}

const Feature& feature(const Read& result, const char* key) {
  REQUIRE(result.family.sizes.size() == 1);
  const auto& features = result.family.sizes.front().edition.features;
  const auto found = std::find_if(features.begin(), features.end(), [&](const auto& one) { return one.key == key; });
  REQUIRE(found != features.end());
  return *found;
}

std::string with(std::string text, const std::string& before, const std::string& after) {
  const auto at = text.find(before);
  REQUIRE(at != std::string::npos);
  return text.replace(at, before.size(), after);
}

/// The codes of all faults, a blank between.
std::string codes(const std::string& toml) {
  std::string out;
  for (const auto& fault : read(toml).faults) out += (out.empty() ? "" : " ") + fault.code;
  return out;
}

}  // namespace

TEST_CASE("derived features are worked out with what they draw on, place by place and hole by hole") {
  const auto result = read(head + readings + derived);
  for (const auto& fault : result.faults) MESSAGE(text(fault));
  REQUIRE(result.faults.empty());
  const auto& round = feature(result, "out-of-round");
  CHECK(round.kind == "derived");
  CHECK(round.derivation.computation == "range");
  REQUIRE(round.derivation.inputs.size() == 1);
  CHECK(round.derivation.inputs[0].readings == std::vector<ReadingsOf>{{"body", ""}});
  const auto& wall = feature(result, "wall");
  CHECK(wall.derivation.formula == "(outside - inside) / 2");
  CHECK(wall.lower == "5.000");
  const auto& circle = feature(result, "bolt-circle");
  CHECK(circle.lower == "59.900");
  REQUIRE(circle.derivation.inputs.size() == 2);
  CHECK(circle.derivation.inputs[0].readings ==
        std::vector<ReadingsOf>{{"hole-x-1", ""}, {"hole-x-2", ""}, {"hole-x-3", ""}});
  CHECK(feature(result, "over-balls").unjudged);
  CHECK(feature(result, "over-balls").lower.empty());
  // What the edition is kept as reads back as it was.
  const auto& edition = result.family.sizes.front().edition;
  const auto back = edition_from(to_json_text(edition));
  REQUIRE(back);
  CHECK(*back == edition);
}

TEST_CASE("what the print gives is taken in the unit that it comes out in") {
  const std::string groove = R"toml([[feature]]
key = "groove"
balloon = "9"
name = "groove"
kind = "derived"
computation = "groove_diameter"
from = { over_balls = "over-balls" }
given = { ball = "ball", groove_angle = "40 deg", width = "5 mm" }
lower = "70 mm"
upper = "76 mm"
decimals = 3
)toml";
  const auto result = read(head + readings + groove);
  for (const auto& fault : result.faults) MESSAGE(text(fault));
  REQUIRE(result.faults.empty());
  const auto& inputs = feature(result, "groove").derivation.inputs;
  REQUIRE(inputs.size() == 4);
  CHECK(inputs[1].values == std::vector<std::string>{"4"});
  CHECK(inputs[1].unit == "mm");
  CHECK(inputs[2].values == std::vector<std::string>{"40"});
  CHECK(inputs[2].unit == "deg");
  // A bare number is a plain number, and the computation says that it wants an angle.
  CHECK(codes(head + readings + with(groove, "40 deg", "40")) == "wrong_unit");
  CHECK(codes(head + readings + with(groove, "width = ", "depth = ")) == "unknown_name");
}

TEST_CASE("every fault of a derived feature is told when the checklist is checked, never at the bench") {
  const auto all = head + readings + derived;
  CHECK(codes(with(all, "computation = \"range\"", "computation = \"rang\"")) == "unknown_word");
  CHECK(codes(with(all, "values = \"body\"", "values = \"bodi\"")) == "unknown_feature");
  CHECK(codes(with(all, "body / at 90", "body / at 91")) == "unknown_place");
  CHECK(codes(with(all, "inside = \"bore\"", "inside = \"wall\"")) == "unknown_feature");
  CHECK(codes(with(all, "(outside - inside) / 2", "(outside - insde) / 2")) == "unknown_name");
  CHECK(codes(with(all, "(outside - inside) / 2", "(outside - inside) * outside")) == "wrong_unit");
  CHECK(codes(with(all, "(outside - inside) / 2", "(outside - inside) / ")) == "bad_formula");
  CHECK(codes(with(all, "formula = \"(outside - inside) / 2\"\n", "")) == "missing_key");
  CHECK(codes(with(all, "count = 3", "count = 2")) != "");
  CHECK(codes(with(all, "key = \"out-of-round\"", "key = \"out-of-round\"\nplaces = [\"a\"]")) == "unknown_key");
  CHECK(codes(with(all, "judged = false", "judged = false\nupper = \"1 mm\"")) == "contradiction");
  // Asked for where its readings are not.
  CHECK(codes(with(all, "key = \"bore\"", "key = \"bore\"\nstages = [\"final\"]")) == "not_asked");
  // Behind what it draws on.
  CHECK(codes(head + derived + readings) == "order order order");
}

TEST_CASE("an uncertainty is stated, or worked out from its budget and rounded up") {
  const auto stated = read(head + with(readings, "upper = \"body\"\n", "upper = \"body\"\nuncertainty = \"0.003 mm\"\n"));
  REQUIRE(stated.faults.empty());
  CHECK(feature(stated, "body").certainty.uncertainty == "0.003");
  CHECK(feature(stated, "body").certainty.coverage_factor == "2");
  CHECK(feature(stated, "body").certainty.standard_uncertainty == "0.0015");
  // JCGM 100:2008, 5.1.2 and annex G: 0.0010 with k 2, a resolution of 0.001 (half 0.0005, rectangular), 0.0008 of ten readings.
  const auto worked = read(head + with(readings, "decimals = 3\ngauge_kind = \"outside-micrometer\"\nplaces", R"toml(decimals = 3
budget = [
  { name = "calibration", amount = "0.001 mm", distribution = "normal_k2" },
  { name = "resolution", amount = "0.0005 mm", distribution = "rectangular" },
  { name = "repeatability", amount = "0.0008 mm", freedom = 9 },
]
gauge_kind = "outside-micrometer"
places)toml"));
  for (const auto& fault : worked.faults) MESSAGE(text(fault));
  REQUIRE(worked.faults.empty());
  const auto& certainty = feature(worked, "body").certainty;
  // sqrt(0.0005^2 + (0.0005^2)/3 + 0.0008^2) = 0.00098658
  CHECK(std::stod(certainty.standard_uncertainty) == doctest::Approx(0.000986577).epsilon(1e-6));
  // Welch and Satterthwaite: u^4 / (0.0008^4 / 9) = 20.8; Student's t at 95.45 %, 20: 2.13.
  CHECK(std::stod(certainty.freedom) == doctest::Approx(20.815).epsilon(1e-3));
  CHECK(std::stod(certainty.coverage_factor) == doctest::Approx(2.133).epsilon(1e-3));
  CHECK(std::stod(certainty.uncertainty) >= std::stod(certainty.standard_uncertainty) * std::stod(certainty.coverage_factor) - 1e-12);
  CHECK(certainty.budget.size() == 3);
}

TEST_CASE("stringent acceptance needs an uncertainty that leaves something to accept") {
  const auto stringent = with(head, "sizes =", "decision = \"stringent\"\nsizes =");
  CHECK(codes(stringent + readings).find("missing_key") != std::string::npos);
  CHECK(codes(head + with(readings, "upper = \"body\"\n", "upper = \"body\"\nuncertainty = \"0.003 mm\"\ndecision = \"stringent\"\n"))
            .empty());
  CHECK(codes(head + with(readings, "upper = \"body\"\n", "upper = \"body\"\nuncertainty = \"0.026 mm\"\ndecision = \"stringent\"\n")) ==
        "guard_too_wide");
}

TEST_CASE("before a finish the limits are moved by what it adds, so that every build-up ends inside the print") {
  const auto plated = with(readings, "upper = \"body\"\n",
                           "upper = \"body\"\nbuild_up = \"0.010 mm\"\nbuild_up_spread = \"0.002 mm\"\nsurfaces = 2\n");
  const auto result = read(head + plated);
  for (const auto& fault : result.faults) MESSAGE(text(fault));
  REQUIRE(result.faults.empty());
  // Print 79.950 to 80.000, two surfaces of 0.008 to 0.012 each: 79.950 - 0.016 and 80.000 - 0.024.
  CHECK(feature(result, "body").finish.lower == "79.934");
  CHECK(feature(result, "body").finish.upper == "79.976");
  const auto inside = read(head + with(readings, "fit = \"H7\"\n",
                                       "fit = \"H7\"\nbuild_up = \"0.004 mm\"\nbuild_up_spread = \"0.001 mm\"\nsurfaces = 2\n"));
  REQUIRE(inside.faults.empty());
  // 25.000 to 25.021 (ISO 286-2, H7 of 18 to 30), shrinking by 0.006 to 0.010: 25.010 to 25.027.
  CHECK(feature(inside, "bore").finish.lower == "25.010");
  CHECK(feature(inside, "bore").finish.upper == "25.027");
  CHECK(codes(head + with(plated, "build_up_spread = \"0.002 mm\"", "build_up_spread = \"0.009 mm\"")).empty());
  CHECK(codes(head + with(plated, "upper = \"body\"", "upper = \"body - 0.045 mm\"")) == "build_up_too_wide");
  CHECK(codes(head + with(plated, "surfaces = 2\n", "")) == "missing_key");
  CHECK(codes(head + with(plated, "material = \"outside\"\n", "")) == "missing_key");
  CHECK(codes(head + with(plated, "build_up = \"0.010 mm\"\n", "")) == "contradiction contradiction");
}
