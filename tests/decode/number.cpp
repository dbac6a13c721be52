#include "drivers/decode/number.hpp"

#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <clocale>
#include <string>

using namespace tallystick;
using namespace tallystick::decode;

namespace {

/// Plain text, or the reason of the refusal.
std::string read(std::string_view value, NumberForm form = {}, std::string_view sign = {}) {
  Number number;
  if (const auto refusal = read_number(sign, value, form, number)) return std::string(name(refusal->reason));
  return std::string(number.plain.view());
}

}  // namespace

TEST_CASE("numbers become plain decimals, digits as sent") {
  CHECK(read("012.345") == "12.345");
  CHECK(read("+012.345") == "12.345");
  CHECK(read("-000.007") == "-0.007");
  CHECK(read("-000.000") == "0.000");
  CHECK(read("000") == "0");
  CHECK(read(".5") == "0.5");
  CHECK(read("12.") == "12");
  CHECK(read("12.500") == "12.500");
  CHECK(read("012.345", {}, "-") == "-12.345");
  CHECK(read("012.345", {}, "+") == "12.345");
  CHECK(read("012.345", {}, " ") == "12.345");
}

TEST_CASE("what is no plain decimal is refused, never mended") {
  for (const auto* value : {"",    ".",    "+",   "-",   "1 2", " 1",  "1 ", "1.2.3", "1,2",      "nan",
                            "inf", "0x1F", "1e5", "1E5", "--1", "+-1", "1-", "1_000", "\xD9\xA1", "1.5mm"}) {
    CHECK_MESSAGE(read(value) == "not_a_number", value);
  }
  CHECK(read("+1", {}, "-") == "not_a_number");
  CHECK(read("1", {}, "x") == "not_a_number");
  CHECK(read("1", {}, "--") == "not_a_number");
}

TEST_CASE("decimal comma only where declared") {
  CHECK(read("12,345", {',', 0, false}) == "12.345");
  CHECK(read("12.345", {',', 0, false}) == "not_a_number");
}

TEST_CASE("implied decimals") {
  CHECK(read("00012345", {'.', 3, false}) == "12.345");
  CHECK(read("-00000005", {'.', 3, false}) == "-0.005");
  CHECK(read("00000000", {'.', 3, false}) == "0.000");
  CHECK(read("12.345", {'.', 3, false}) == "not_a_number");
}

TEST_CASE("exponents only where declared, exactly") {
  const NumberForm form{'.', 0, true};
  CHECK(read("1.2345E+1", form) == "12.345");
  CHECK(read("123E-5", form) == "0.00123");
  CHECK(read("1.23e2", form) == "123");
  CHECK(read("1.5E3", form) == "1500");
  CHECK(read("-0.0E5", form) == "0");
  for (const auto* value : {"1E", "1E+", "E5", "1E5.0", "1E100", "1E 5", "1E5E5"})
    CHECK_MESSAGE(read(value, form) == "not_a_number", value);
  CHECK(read("1E99", form) == "out_of_range");
}

TEST_CASE("too many digits are out of range") {
  CHECK(read(std::string(39, '9')) == "out_of_range");
  CHECK(read(std::string(38, '9')) == std::string(38, '9'));
  CHECK(read(std::string(500, '0') + "1") == "1");
}

TEST_CASE("the locale plays no part") {
  const std::string before = std::setlocale(LC_ALL, nullptr);
  // C.UTF-8 is always there; a comma locale only where installed. Either way nothing may change.
  for (const auto* locale : {"de_DE.UTF-8", "fr_FR.UTF-8", "C.UTF-8"}) {
    std::setlocale(LC_ALL, locale);
    CHECK(read("12.345") == "12.345");
    CHECK(read("12,345") == "not_a_number");
  }
  std::setlocale(LC_ALL, before.c_str());
}

TEST_CASE("a quantity made without the text is the one made from the text") {
  const auto same = [](std::string_view unit_name) {
    const Unit unit = *Unit::named(unit_name);
    const UnitScale scale(unit);
    rc::check("unit " + std::string(unit_name), [&] {
      const auto whole = *rc::gen::inRange<std::int64_t>(-5'000'000'000'000, 5'000'000'000'000);
      const auto decimals = *rc::gen::inRange(0, 15);
      std::string digits = std::to_string(whole < 0 ? -whole : whole);
      if (static_cast<int>(digits.size()) <= decimals)
        digits.insert(0, static_cast<std::size_t>(decimals) + 1 - digits.size(), '0');
      if (decimals > 0) digits.insert(digits.size() - static_cast<std::size_t>(decimals), ".");
      const std::string text = (whole < 0 ? "-" : "") + digits;
      Number number;
      RC_ASSERT(!read_number({}, text, {}, number));
      const auto expected = Quantity::parse(number.plain.view(), unit);
      Quantity found;
      const auto refusal = scale.quantity(number, found);
      RC_ASSERT(expected.has_value() == !refusal.has_value());
      if (expected) {
        RC_ASSERT(found.count() == expected->count());
        RC_ASSERT(found.unit() == unit);
      } else {
        RC_ASSERT(refusal->reason == RefusalReason::out_of_range);
      }
    });
  };
  for (const auto* unit : {"mm", "um", "nm", "in", "thou", "deg", "degC", "degF", "N"}) same(unit);
}
