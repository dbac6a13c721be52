// The keys of a capture in a family's file: what they come to in an edition, and what is told of those that
// are wrong.
#include <doctest/doctest.h>

#include <algorithm>

#include "daemon/checklist/family.hpp"

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

std::string family_with(const std::string& keys, const std::string& kind = "capture") {
  return R"toml([family]
key = "pin"
title = "Pin (invented)"
sizes = "pin.csv"
print_unit = "mm"
[columns]
most = "mm"
step = "mm"
[[feature]]
key = "runout"
balloon = "1"
name = "runout"
kind = ")toml" +
         kind + R"toml("
upper = "most"
plausible_lower = "0"
plausible_upper = "0.5"
gauge_kind = "indicator"
)toml" + keys;
}

struct Read {
  Family family;
  std::vector<Fault> faults;
  std::string told() const {
    std::string out;
    for (const auto& fault : faults)
      out += (out.empty() ? "" : "; ") + std::to_string(fault.line) + " " + fault.place + " " + fault.code;
    return out;
  }
  const Feature& feature() const {
    REQUIRE_MESSAGE(!family.sizes.empty(), told());
    return family.sizes.front().edition.features.front();
  }
};

Read read(const std::string& keys, const std::string& kind = "capture") {
  Read out;
  const auto file = [](const std::string&) -> Expected<std::string> {
    return std::string("size,print_revision,part_number,most,step\nP-10,A,P-10-A,0.02,0.003\n");
  };
  out.family = read_family(family_with(keys, kind), "pin.family.toml", file, out.faults);
  return out;
}

}  // namespace

TEST_CASE("a capture of one frame needs no keys, and its edition is what it always was") {
  const auto plain = read("");
  CHECK(plain.told() == "");
  CHECK(plain.feature().capture == "now");
  CHECK(to_json_text(plain.family.sizes.front().edition).find("_ms") == std::string::npos);
}

TEST_CASE("the keys come to the edition, in the feature's unit, worked out for the size") {
  auto span = read("capture = \"span\"\n");
  CHECK(span.told() == "");
  CHECK(span.feature().capture == "span");
  CHECK(span.feature().least_ms == 1000);
  CHECK(span.feature().longest_gap_ms == 1000);
  CHECK(span.feature().end_after_ms == 0);
  const auto turns =
      read("capture = \"span\"\nmovement = \"step / 2\"\nturns = 2\nturn_ms = 3000\nlongest_gap_ms = 200\n");
  CHECK(turns.told() == "");
  CHECK(turns.feature().movement == "0.0015");
  CHECK(turns.feature().turns == 2);
  CHECK(turns.feature().end_after_ms == 6000);
  CHECK(turns.feature().longest_gap_ms == 200);
  const auto settled = read("capture = \"settled\"\nwindow = \"2 um\"\nsettle_ms = 800\n");
  CHECK(settled.told() == "");
  CHECK(settled.feature().window == "0.002");
  CHECK(settled.feature().settle_ms == 800);
  CHECK(settled.feature().least_ms == 0);
  CHECK(read("capture = \"sweep\"\n").feature().capture_value == "span");
  const auto sweep = read("capture = \"sweep\"\nsweep_value = \"mean\"\nend_after_ms = 500\n");
  CHECK(sweep.told() == "");
  CHECK(sweep.feature().capture_value == "mean");
  CHECK(sweep.feature().least_ms == 500);
  // What is published is read back as it was.
  const auto text = to_json_text(sweep.family.sizes.front().edition);
  CHECK(edition_from(text).value() == sweep.family.sizes.front().edition);
}

TEST_CASE("each key that is wrong or means nothing is told at its line") {
  const std::vector<std::tuple<std::string, std::string, std::string>> wrong = {
      {"capture", "capture = \"peak\"\n", "18 feature runout, capture unknown_word"},
      {"capture", "movement = \"0.001\"\n", "18 feature runout, movement contradiction"},
      {"reading", "movement = \"0.001\"\n", "18 feature runout, movement contradiction"},
      {"reading", "settle_ms = 100\n", "18 feature runout, settle_ms contradiction"},
      {"capture", "capture = \"now\"\nleast_ms = 5\n", "19 feature runout, least_ms contradiction"},
      {"capture", "capture = \"span\"\nwindow = \"0.001\"\n", "19 feature runout, window contradiction"},
      {"capture", "capture = \"span\"\nsweep_value = \"max\"\n",
       "19 feature runout, sweep_value contradiction"},
      {"capture", "capture = \"settled\"\n", "9 feature runout missing_key"},
      {"capture", "capture = \"settled\"\nwindow = \"0.001\"\nsettle_ms = 500\nturns = 1\n",
       "21 feature runout, turns contradiction"},
      {"capture", "capture = \"span\"\nturns = 2\n", "19 feature runout, turns missing_key"},
      {"capture", "capture = \"span\"\nturn_ms = 2000\n", "19 feature runout, turn_ms missing_key"},
      {"capture", "capture = \"span\"\nturns = 1\nturn_ms = 2000\nend_after_ms = 2000\n",
       "21 feature runout, end_after_ms contradiction"},
      {"capture", "capture = \"span\"\nturns = 100\nturn_ms = 600000\n",
       "19 feature runout, turns out_of_range"},
      {"capture", "capture = \"span\"\nend_after_ms = 2000\nleast_ms = 3000\n",
       "20 feature runout, least_ms contradiction"},
      {"capture", "capture = \"span\"\nlongest_gap_ms = 5\n",
       "19 feature runout, longest_gap_ms out_of_range"},
      {"capture", "capture = \"span\"\nmovement = \"0\"\n", "19 feature runout, movement out_of_range"},
      {"capture", "capture = \"span\"\nmovement = \"most\"\n", "19 feature runout, movement out_of_range"},
      {"capture", "capture = \"span\"\nmovement = 0.001\n", "19 feature runout, movement bare_number"},
      {"capture", "capture = \"span\"\nmovement = \"deep\"\n", "19 feature runout, movement unknown_column"},
      {"capture", "capture = \"span\"\nmovment = \"0.001\"\n", "19 feature runout unknown_key"}};
  for (const auto& [kind, keys, told] : wrong) {
    CAPTURE(keys);
    const auto found = read(keys, kind);
    CHECK(found.told() == told);
    CHECK(found.family.sizes.empty());
    for (const auto& fault : found.faults) {
      CHECK_FALSE(fault.what.empty());
      CHECK_FALSE(fault.remedy.empty());
    }
  }
}

TEST_CASE(
    "an exception may state another movement for a size, and none where the feature has no use for it") {
  const std::string exception =
      "[[exception]]\nsizes = [\"P-10\"]\nfeature = \"runout\"\nwhy = \"its face is rough\"\n";
  CHECK(read("capture = \"span\"\nmovement = \"0.001\"\n" + exception + "movement = \"0.004\"\n")
            .feature()
            .movement == "0.004");
  const auto none = read(exception + "movement = \"0.004\"\n");
  CHECK(none.family.sizes.empty());
  CHECK(none.told().find("contradiction") != std::string::npos);
}
