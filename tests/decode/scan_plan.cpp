#include "drivers/decode/scan_plan.hpp"

#include <doctest/doctest.h>
#include <re2/re2.h>

#include <map>
#include <random>

using namespace tallystick::decode;

namespace {

const std::vector<std::string> simple{
    R"((?P<sign>[+-])(?P<value>\d{3}\.\d{3}))",
    R"((?P<channel>\d{2})A(?P<sign>[+-])(?P<value>\d{4}\.\d{3,4}) (?P<unit>[a-z]{2}))",
    R"(V (?P<sign>[+-])(?P<value>\d{1,4}\.\d{3,5}))",
    R"((?P<channel>[1-8]),(?P<sign>[+-])(?P<value>\d+\.\d+),(?P<unit>[a-z]+),(?P<status>[a-z]+))",
    R"((?P<sign>[ -])(?P<value>\d{1,2}\.\d{4}))",
    R"( *(?P<sign>-)?(?P<value>\d+,\d{3}) (?P<unit>[a-z]+))",
    R"((?P<value>[+-]\d+\.\d+E[+-]\d{2}))",
    R"((?P<value>\d+(?:\.\d+)?) ?(?P<unit>mm|in)?)",
    R"(\x11D(?P<sign>[+-]?)(?P<value>\d{2,4})[\r\t]*)",
    R"((?:(?P<channel>[A-C]):)?(?P<value>\d+(?:[.]\d*)?))",
};

const std::vector<std::string> not_simple{
    R"(.*(?P<value>\d+))",  // any byte
    R"((?P<value>\d+)\d)",  // the next byte does not decide
    R"((?P<value>\d*)(?P<unit>[0-9a-z]))",
    R"((?P<value>\d+|x+))",            // a choice that is not of plain words
    R"((?P<unit>m|mm)(?P<value>\d))",  // one word begins with another
    R"((?P<value>\d+?))",              // reluctant
    R"((?P<value>(\d+)))",             // a group without a name
    R"((?P<value>[^+]))",
    R"(^(?P<value>\d)$)",
    R"((?i)(?P<value>\d)a)",
    R"((?P<value>\d)(?P<value>\d))",
    R"((?P<other>\d))",
    R"((?:a*)?(?P<value>\d))",  // an optional part that may be empty
    R"((?P<value>\d{1,2)",
    R"((?P<value>\d)",
    R"((?P<value>[a-\d]))",
    R"((?P<value>\s))",
};

struct ByExpression {
  explicit ByExpression(const std::string& pattern) : expression(pattern, options()) {
    groups = expression.NamedCapturingGroups();
  }
  static re2::RE2::Options options() {
    re2::RE2::Options out(re2::RE2::Latin1);
    out.set_log_errors(false);
    return out;
  }
  bool match(std::string_view body, Fields& fields) {
    std::vector<re2::StringPiece> pieces(static_cast<std::size_t>(expression.NumberOfCapturingGroups()) + 1);
    if (!expression.Match({body.data(), body.size()}, 0, body.size(), re2::RE2::ANCHOR_BOTH, pieces.data(),
                          static_cast<int>(pieces.size())))
      return false;
    for (const auto& [group, index] : groups) {
      const auto& piece = pieces[static_cast<std::size_t>(index)];
      fields[*field_named(group)] = std::string_view(piece.data(), piece.size());
    }
    return true;
  }
  re2::RE2 expression;
  std::map<std::string, int> groups;
};

/// A text that is near the pattern: bytes that stand in it, in random order, or a matching one with a byte
/// changed.
std::string near(const std::string& pattern, std::mt19937& random) {
  static const std::string common = "0123456789.+-, mminabcA:VDE\x11\r\t";
  std::string out(random() % 14, ' ');
  for (auto& byte : out)
    byte = random() % 40 == 0 ? static_cast<char>(random() % 256) : common[random() % common.size()];
  static const std::map<std::size_t, std::string> good{{0, "+012.345"},
                                                       {1, "01A+0012.345 mm"},
                                                       {2, "V -1.1811"},
                                                       {3, "2,+12.5,mm,ok"},
                                                       {4, "-1.2345"},
                                                       {5, "  -1,234 mm"},
                                                       {6, "+1.25E-01"},
                                                       {7, "12.5 mm"},
                                                       {8,
                                                        "\x11"
                                                        "D+123\r"},
                                                       {9, "A:12.5"}};
  const auto index =
      static_cast<std::size_t>(std::find(simple.begin(), simple.end(), pattern) - simple.begin());
  if (random() % 3 != 0) {
    out = good.at(index);
    for (auto changes = random() % 3; changes > 0 && !out.empty(); --changes) {
      const auto at = random() % out.size();
      switch (random() % 3) {
        case 0:
          out[at] = common[random() % common.size()];
          break;
        case 1:
          out.erase(at, 1);
          break;
        default:
          out.insert(at, 1, common[random() % common.size()]);
          break;
      }
    }
  }
  return out;
}

}  // namespace

TEST_CASE(
    "what the next byte decides is scanned by hand, and everything else is left to the expression engine") {
  for (const auto& pattern : simple) CHECK_MESSAGE(ScanPlan::compile(pattern).has_value(), pattern);
  for (const auto& pattern : not_simple) CHECK_MESSAGE(!ScanPlan::compile(pattern).has_value(), pattern);
}

TEST_CASE("both find the same parts, or both find nothing (RE2 is the outside reference)") {
  std::mt19937 random(20261125);
  for (const auto& pattern : simple) {
    const auto scan = ScanPlan::compile(pattern);
    REQUIRE(scan);
    ByExpression expression(pattern);
    REQUIRE(expression.expression.ok());
    int matched = 0;
    for (int i = 0; i < 20'000; ++i) {
      const std::string body = near(pattern, random);
      Fields by_scan, by_expression;
      const bool found = scan->match(body, by_scan);
      REQUIRE_MESSAGE(found == expression.match(body, by_expression), pattern, " on ", body);
      if (!found) continue;
      ++matched;
      for (std::size_t part = 0; part < field_count; ++part) {
        const auto field = static_cast<Field>(part);
        REQUIRE_MESSAGE(by_scan.has(field) == by_expression.has(field), pattern, " on ", body);
        REQUIRE_MESSAGE(by_scan[field] == by_expression[field], pattern, " on ", body);
      }
    }
    CHECK_MESSAGE(matched > 1000, pattern);
    CHECK_MESSAGE(matched < 19'000, pattern);
  }
}
