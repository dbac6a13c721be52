#include "daemon/checklist/expression.hpp"

#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <map>

using namespace tallystick;
using checklist::Cell;
using checklist::Columns;
using checklist::Expression;
using checklist::Rational;

namespace {

Unit unit(const char* name) { return *Unit::named(name); }

/// Columns from texts: "25" plain, "25 mm" with a unit, "" an empty cell.
Columns columns(std::map<std::string, std::string> cells) {
  return [cells = std::move(cells)](const std::string& name) -> Expected<Cell> {
    const auto found = cells.find(name);
    if (found == cells.end()) return fail("unknown_column", "no column " + name);
    Cell cell;
    cell.empty = found->second.empty();
    if (cell.empty) return cell;
    const auto blank = found->second.find(' ');
    cell.value = *checklist::decimal_from(found->second.substr(0, blank));
    if (blank != std::string::npos) cell.unit = unit(found->second.substr(blank + 1).c_str());
    return cell;
  };
}

/// The exact text in `unit_name`, or the error's code.
std::string worked(const char* text, std::map<std::string, std::string> cells = {},
                   const char* unit_name = "mm") {
  const auto expression = Expression::value(text);
  if (!expression) return expression.error().code;
  const auto value = expression->work_out(columns(std::move(cells)), unit(unit_name));
  return value ? *value->text(unit(unit_name)) : value.error().code;
}

std::string held(const char* text, std::map<std::string, std::string> cells = {}) {
  const auto condition = Expression::condition(text);
  if (!condition) return condition.error().code;
  const auto value = condition->holds(columns(std::move(cells)));
  return !value ? value.error().code : *value ? "true" : "false";
}

}  // namespace

TEST_CASE("expressions are exact where binary floating point is not") {
  CHECK(worked("0.1 + 0.2") == "0.3");
  CHECK(worked("1 - 0.9") == "0.1");
  CHECK(worked("3 * 0.1") == "0.3");
  CHECK(worked("0.3 / 3") == "0.1");
  CHECK(worked("1 / 3 * 3") == "1");
  CHECK(worked("bore + up", {{"bore", "25 mm"}, {"up", "0.021 mm"}}) == "25.021");
}

TEST_CASE("operators bind as in arithmetic") {
  CHECK(worked("1 + 2 * 3") == "7");
  CHECK(worked("(1 + 2) * 3") == "9");
  CHECK(worked("10 - 3 - 2") == "5");
  CHECK(worked("12 / 3 / 2") == "2");
  CHECK(worked("-2 + 5") == "3");
  CHECK(worked("2 * -3") == "-6");
  CHECK(worked("min(3, 1, 2) + max(4, 5)") == "6");
}

TEST_CASE("columns keep their units, and mixed units are exact") {
  CHECK(worked("length + 0.1 mm", {{"length", "1 in"}}) == "25.5");
  CHECK(worked("length", {{"length", "1 in"}}) == "25.4");
  CHECK(worked("length", {{"length", "25.4 mm"}}, "in") == "1");
  CHECK(worked("deviation + 25", {{"deviation", "21 um"}}) == "25.021");
  CHECK(worked("pitch * 3", {{"pitch", "1.5 mm"}}) == "4.5");
  CHECK(worked("pitch * holes", {{"pitch", "1.5 mm"}, {"holes", "4"}}) == "6");
  CHECK(worked("a * b / c", {{"a", "6 mm"}, {"b", "4 mm"}, {"c", "8 mm"}}) == "3");
}

TEST_CASE("what does not fit together is refused, not guessed") {
  CHECK(worked("a * b", {{"a", "6 mm"}, {"b", "4 mm"}}) == "wrong_unit");       // an area
  CHECK(worked("a + holes", {{"a", "6 mm"}, {"holes", "4"}}) == "wrong_unit");  // a length and a number
  CHECK(worked("holes", {{"holes", "4"}}) == "wrong_unit");                     // a plain number for a length
  CHECK(worked("a", {{"a", "6 deg"}}) == "wrong_unit");
  CHECK(worked("a + 1 deg", {{"a", "6 mm"}}) == "wrong_unit");
  CHECK(worked("1 / (2 - 2)") == "division_by_zero");
  CHECK(worked("a", {{"a", ""}}) == "empty_cell");
  CHECK(worked("t + t", {{"t", "20 degC"}}, "degC") == "wrong_unit");  // points have no sum
  CHECK(worked("max(t, 18)", {{"t", "20 degC"}}, "degC") == "20");
  CHECK(worked("10000000000") == "overflow");
}

TEST_CASE("a result that no whole count holds shows its fraction and proposes round") {
  const auto third = Expression::value("length / 3");
  REQUIRE(third);
  const auto value = third->work_out(columns({{"length", "10 mm"}}), unit("mm"));
  REQUIRE_FALSE(value);
  CHECK(value.error().code == "not_whole");
  CHECK(value.error().what.find("10/3 mm") != std::string::npos);
  CHECK(value.error().hint.find("round(") != std::string::npos);
  CHECK(worked("round(length / 3, 0.001)", {{"length", "10 mm"}}) == "3.333");
  CHECK(worked("length", {{"length", "1 mm"}}, "in") == "not_whole");  // 5/127 in
  CHECK(worked("round(length, 0.0001)", {{"length", "1 mm"}}, "in") == "0.0394");
}

TEST_CASE("round goes to the nearest step, half to even, also below zero") {
  CHECK(worked("round(2.5, 1)") == "2");
  CHECK(worked("round(3.5, 1)") == "4");
  CHECK(worked("round(-2.5, 1)") == "-2");
  CHECK(worked("round(-3.6, 1)") == "-4");
  CHECK(worked("round(7.3, 0.25)") == "7.25");
  CHECK(worked("round(7.3, 0)") == "expression");
}

TEST_CASE("what cannot be read says where and what was expected") {
  const auto wrong = [](const char* text) {
    const auto expression = Expression::value(text);
    return expression ? std::string("read") : expression.error().what;
  };
  CHECK(wrong("bore +") ==
        "expected a decimal, a column or \"(\" at character 7, found the end in \"bore +\"");
  CHECK(wrong("bore 2").find("an operator") != std::string::npos);
  CHECK(wrong("(bore").find("\")\"") != std::string::npos);
  CHECK(wrong("1.").find("a digit after the point") != std::string::npos);
  CHECK(wrong("0,5") != "read");
  CHECK(wrong("1e3") != "read");
  CHECK(wrong("2 bananas") != "read");
  CHECK(wrong("") != "read");
  CHECK(wrong("round(bore)") != "read");
  CHECK(wrong(std::string(2000, '(').c_str()) != "read");
  CHECK(wrong((std::string(200, '(') + "1" + std::string(200, ')')).c_str()).find("fewer nested") !=
        std::string::npos);
}

TEST_CASE("conditions: comparisons, given, and, or, not") {
  const std::map<std::string, std::string> cells = {{"bore", "25 mm"}, {"holes", "4"}, {"groove", ""}};
  CHECK(held("bore > 20 mm", cells) == "true");
  CHECK(held("bore > 20", cells) == "wrong_unit");  // no feature's unit stands behind a condition
  CHECK(held("bore = 25 mm and holes <> 4", cells) == "false");
  CHECK(held("bore < 20 mm or holes >= 4", cells) == "true");
  CHECK(held("given(groove)", cells) == "false");
  CHECK(held("not given(groove) and given(bore)", cells) == "true");
  CHECK(held("(holes = 4)", cells) == "true");
  CHECK(held("(holes + 1) * 2 = 10", cells) == "true");
  CHECK(held("(holes = 4 or holes = 6) and bore <= 1 in", cells) == "true");
  CHECK(held("holes", cells) == "expression");
  CHECK(held("groove = 1", cells) == "empty_cell");
  CHECK(held("given(groove) and groove > 1 mm", cells) == "false");  // the second is not asked
}

TEST_CASE("columns and bare decimals are known before anything is worked out") {
  const auto expression = Expression::value("bore + max(up, 0.1) * 2 - bore");
  REQUIRE(expression);
  CHECK(expression->columns() == std::vector<std::string>{"bore", "up"});
  CHECK(Expression::value("bore + 0.1")->has_bare_decimal());
  CHECK_FALSE(Expression::value("2 * bore")->has_bare_decimal());
  CHECK_FALSE(Expression::value("bore + 0.1 mm")->has_bare_decimal());
  CHECK_FALSE(Expression::value("bore + 0")->has_bare_decimal());  // zero is zero in every unit
}

namespace {

/// A random formula as text, and its value by rationals built beside it: a naive model that reads no text.
struct Built {
  std::string text;
  Rational value;
};

Built random_formula(int depth) {
  const auto decimal = [] {
    const auto digits = *rc::gen::inRange(0, 100000);
    auto fraction = std::to_string(digits % 1000);
    fraction.insert(0, 3 - fraction.size(), '0');
    return Built{std::to_string(digits / 1000) + "." + fraction, Rational(digits, 1000)};
  };
  if (depth == 0) return decimal();
  auto left = random_formula(depth - 1), right = random_formula(depth - 1);
  const auto both = [&](const char* between) { return "(" + left.text + between + right.text + ")"; };
  switch (*rc::gen::inRange(0, 7)) {
    case 0:
      return {both(" + "), left.value + right.value};
    case 1:
      return {both("-"), left.value - right.value};
    case 2:
      return {both(" * "), left.value * right.value};
    case 3:
      if (right.value == 0) return left;
      return {both(" / "), left.value / right.value};
    case 4:
      return {"min" + both(", "), left.value < right.value ? left.value : right.value};
    case 5:
      return {"max" + both(","), left.value > right.value ? left.value : right.value};
    default:
      return {"-" + left.text, -left.value};
  }
}

}  // namespace

TEST_CASE("any formula equals its value in big rationals, or is refused because no count holds it") {
  // Outside check: Boost.Multiprecision cpp_rational, applied by a generator that never reads a text.
  int whole = 0;
  const bool good = rc::check([&] {
    const auto built = random_formula(*rc::gen::inRange(0, 4));
    const auto expression = Expression::value(built.text);
    RC_ASSERT(expression.has_value());
    const auto value = expression->work_out(columns({}), unit("mm"));
    const Rational counts = built.value * 1'000'000'000;
    const bool holds = denominator(counts) == 1 && abs(counts) <= Rational(INT64_MAX);
    RC_ASSERT(value.has_value() == holds);
    if (holds) {
      RC_ASSERT(Rational(value->count()) == counts);
      ++whole;
    } else {
      RC_ASSERT(value.error().code == "not_whole" || value.error().code == "overflow");
    }
  });
  CHECK(good);
  CHECK(whole > 20);
}

TEST_CASE("no text makes the reader fall over") {
  CHECK(rc::check([] {
    const auto text = *rc::gen::container<std::string>(
        rc::gen::element('1', '.', '(', ')', '+', '-', '*', '/', ',', ' ', 'a', 'm', 'i', 'n', '<', '='));
    const auto value = Expression::value(text);
    if (value) (void)value->work_out(columns({{"a", "1 mm"}, {"m", "2"}}), unit("mm"));
    const auto condition = Expression::condition(text);
    if (condition) (void)condition->holds(columns({{"a", "1 mm"}, {"m", "2"}}));
  }));
}
