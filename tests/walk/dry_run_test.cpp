// A dry run goes by the rules of the walk, and leaves nothing behind: it is a function of its arguments.
#include <doctest/doctest.h>

#include "daemon/walk/dry_run.hpp"

using namespace tallystick;
using namespace tallystick::walk;

namespace {

checklist::Feature measured(const std::string& key, const std::string& lower, const std::string& upper) {
  checklist::Feature out;
  out.key = key;
  out.balloon = "1";
  out.name = key;
  out.kind = "reading";
  out.feature_class = "major";
  out.unit = "mm";
  out.lower = lower;
  out.upper = upper;
  out.plausible_lower = "20";
  out.plausible_upper = "40";
  out.gauge_kind = "outside-micrometer";
  return out;
}

checklist::Edition edition(const std::string& size, const std::string& lower, const std::string& upper) {
  checklist::Edition out;
  out.family = "fb";
  out.size = size;
  out.print_revision = "A";
  out.features = {measured("length", lower, upper)};
  checklist::Feature look;
  look.key = "marking";
  look.balloon = "9";
  look.name = "marking";
  look.kind = "look";
  look.feature_class = "minor";
  look.question_good = "Marking there? Yes is good.";
  out.features.push_back(look);
  return out;
}

std::vector<shop::GaugeCard> gauges() {
  shop::GaugeCard card;
  card.id = "micrometer-25-50";
  card.kind = "outside-micrometer";
  card.bench = "bench-1";
  card.unit = "mm";
  card.range_lower = "0";
  card.range_upper = "50";
  card.resolution = "0.001";
  return {card};
}

DryRun run(const std::vector<DryGiven>& given, const std::vector<checklist::Edition>& others = {}) {
  const auto out = dry_run(edition("FB-25", "29.9", "30.1"), others, gauges(), "bench-1", "final", given);
  if (!out) FAIL(text(out.error()));
  return *out;
}

}  // namespace

TEST_CASE("dry run: a good part") {
  const auto out = run({{"length", "", "", {"30.1"}}, {"marking", "", "", {"good"}}});
  CHECK(out.end == "accepted");
  REQUIRE(out.steps.size() == 2);
  CHECK(out.steps[0].verdict == "accept");
  CHECK(out.steps[0].gauges == std::vector<std::string>{"micrometer-25-50"});
}

TEST_CASE("dry run: exact at the limit, and a reject is measured once more before it stands") {
  const auto out = run({{"length", "", "", {"30.100000001"}}, {"marking", "", "", {"good"}}});
  CHECK(out.end == "rejected");
  REQUIRE(out.steps.size() == 3);
  CHECK(out.steps[0].by == "0.000000001");
  CHECK(!out.steps[0].stands);
  CHECK(out.steps[1].stands);
  const auto third = run({{"length", "", "", {"30.2", "30.0", "30.0"}}, {"marking", "", "", {"good"}}});
  CHECK(third.end == "accepted");
}

TEST_CASE("dry run: a value that fits another size holds") {
  const auto out = run({{"length", "", "", {"32.0", "30.0"}}, {"marking", "", "", {"good"}}}, {edition("FB-25L", "31.9", "32.1")});
  REQUIRE(out.steps.size() == 3);
  CHECK(out.steps[0].hold == "size");
  CHECK(out.steps[0].fits_size == "FB-25L");
  CHECK(out.steps[1].verdict == "accept");
  CHECK(out.end == "accepted");
}

TEST_CASE("dry run: what is not given is passed over, and a look that nobody answers waits") {
  CHECK(run({{"marking", "", "", {"good"}}}).end == "incomplete");
  const auto waits = run({{"length", "", "", {"30"}}});
  CHECK(waits.end == "incomplete");
  CHECK(waits.steps.back().what == "not_answered");
}

TEST_CASE("dry run: no gauge serves") {
  const auto out = dry_run(edition("FB-25", "29.9", "30.1"), {}, {}, "bench-1", "final", {{"length", "", "", {"30"}}, {"marking", "", "", {"good"}}});
  REQUIRE(out);
  CHECK(out->steps[0].hold == "no_gauge");
  CHECK(out->steps[0].gauges.empty());
  CHECK(out->end == "incomplete");
}

TEST_CASE("dry run: what cannot be read is an error that names the feature") {
  const auto tried = [](const DryGiven& given) { return dry_run(edition("FB-25", "29.9", "30.1"), {}, gauges(), "bench-1", "final", {given}); };
  CHECK(tried({"lenght", "", "", {"30"}}).error().code == "unknown_feature");
  const auto bad = tried({"length", "", "", {"30,0"}});
  REQUIRE(!bad);
  CHECK(bad.error().where.find("length") != std::string::npos);
  CHECK(tried({"length", "", "deg", {"30"}}).error().code == "wrong_unit");
  CHECK(!dry_run(edition("FB-25", "29.9", "30.1"), {}, gauges(), "bench-1", "lunch", {}));
}

TEST_CASE("dry run: the same again gives the same") {
  const std::vector<DryGiven> given{{"length", "", "", {"30.05"}}, {"marking", "", "", {"not_good"}}};
  CHECK(run(given) == run(given));
}
