#include "daemon/checklist/edition.hpp"

#include <doctest/doctest.h>

#include "daemon/checklist/family.hpp"

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

Edition edition() {
  Edition out;
  out.family = "pin";
  out.size = "P-10";
  out.print_revision = "A";
  out.part_number = "P-10-A";
  Feature length;
  length.key = "length";
  length.balloon = "1";
  length.name = "length \"over all\", \xC3\xBC";
  length.kind = "reading";
  length.unit = "mm";
  length.lower = "39.90";
  length.upper = "40.10";
  length.places = {"near", "far"};
  out.features.push_back(length);
  return out;
}

}  // namespace

TEST_CASE("an edition is written the same every time and read back whole") {
  const auto text = to_json_text(edition());
  CHECK(text == to_json_text(edition()));
  CHECK(text.find(": ") == std::string::npos);
  CHECK(text.starts_with("{\"family\":\"pin\",\"size\":\"P-10\""));
  const auto back = edition_from(text);
  REQUIRE(back);
  CHECK(*back == edition());
  CHECK(to_json_text(*back) == text);
  // The bytes of this release: a change here is a change of every digest ever published.
  CHECK(sha256_hex(text) == "4d20e7a6cccb8e2069160e5c60101067e8484205f423e009d744a5464da68986");
}

TEST_CASE("what is no edition is refused with its place; a newer format too") {
  CHECK(edition_from("{").error().code == "not_json");
  CHECK(edition_from(R"({"features":[{"decimals":"2"}]})").error().where == "edition, features[0].decimals");
  CHECK(edition_from(R"({"format":2})").error().code == "newer_format");
}

TEST_CASE("limits of a feature: two-sided, one-sided, and what cannot be") {
  Feature feature;
  feature.key = "bore";
  feature.unit = "in";
  feature.upper = "1.0008";
  const auto one_sided = limits_of(feature);
  REQUIRE(one_sided);
  CHECK_FALSE(one_sided->lower);
  CHECK(one_sided->upper->count() == 25'420'320'000);  // 1.0008 x 25.4 mm
  feature.lower = "1.0010";
  CHECK(limits_of(feature).error().code == "limits_crossed");
  CHECK(limits_of(feature).error().where == "feature bore");
  feature.unit = "inch";
  CHECK(limits_of(feature).error().code == "unknown_unit");
}

TEST_CASE("compare tells what changed, feature by feature, and nothing else") {
  const auto before = edition();
  auto after = before;
  CHECK(compare(before, after).empty());
  after.number = 7;
  CHECK(compare(before, after).empty());  // the number is no content
  after.features[0].upper = "40.05";
  after.moves_allowed = false;
  Feature extra;
  extra.key = "look";
  extra.name = "look";
  after.features.push_back(extra);
  CHECK(compare(before, after) == std::vector<Difference>{{"", "moves_allowed", "true", "false"},
                                                          {"length", "upper", "40.10", "40.05"},
                                                          {"look", "feature", "", "look"}});
  auto turned = after;
  std::swap(turned.features[0], turned.features[1]);
  CHECK(compare(after, turned) == std::vector<Difference>{{"", "order", "length, look", "look, length"}});
}

TEST_CASE("publishing touches only what changed, and numbers within the size") {
  auto ten = edition();
  auto twenty = edition();
  twenty.size = "P-20";
  auto first = publishing({ten, twenty}, {});
  REQUIRE(first.publish.size() == 2);
  CHECK(first.publish[0].number == 1);
  CHECK(publishing({ten, twenty}, first.publish).publish.empty());
  CHECK(publishing({ten, twenty}, first.publish).unchanged == first.publish);
  ten.features[0].upper = "40.05";
  const auto second = publishing({ten, twenty}, first.publish);
  REQUIRE(second.publish.size() == 1);
  CHECK(second.publish[0].number == 2);
  CHECK(second.unchanged == std::vector<Edition>{first.publish[1]});
  // Taking a change back is a change: the newest edition counts, not any.
  auto published = first.publish;
  published.push_back(second.publish[0]);
  const auto third = publishing({edition()}, published);
  REQUIRE(third.publish.size() == 1);
  CHECK(third.publish[0].number == 3);
  // A new print revision goes on counting.
  auto revised = edition();
  revised.print_revision = "B";
  CHECK(publishing({revised}, published).publish.at(0).number == 3);
}
