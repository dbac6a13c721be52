// Text <-> value: what is taken exactly, and what is refused.
#include <doctest/doctest.h>

#include "daemon/measure/quantity.hpp"

using namespace tallystick;

namespace {

Unit unit(std::string_view name) { return Unit::named(name).value(); }
Quantity q(std::string_view text, std::string_view name) { return Quantity::parse(text, unit(name)).value(); }
std::string code_of(std::string_view text, std::string_view name, char mark = '.') {
  const auto value = Quantity::parse(text, unit(name), mark);
  return value ? "taken as " + value->text() : value.error().code;
}

}  // namespace

TEST_CASE("counts of the base, by unit") {
  CHECK(q("1", "mm").count() == 1'000'000'000);
  CHECK(q("1", "um").count() == 1'000'000);
  CHECK(q("1", "nm").count() == 1'000);
  CHECK(q("1", "m").count() == 1'000'000'000'000);
  CHECK(q("1", "in").count() == 25'400'000'000);
  CHECK(q("1", "thou").count() == 25'400'000);
  CHECK(q("1", "uin").count() == 25'400);
  CHECK(q("1", "deg").count() == 3'600'000'000'000);
  CHECK(q("0d0m1s", "dms").count() == 1'000'000'000);
  CHECK(q("0", "degC").count() == 273'150'000);
  CHECK(q("32", "degF").count() == 273'150'000);
  CHECK(q("1", "delta-degC").count() == 1'000'000);
  CHECK(q("9", "delta-degF").count() == 5'000'000);
  CHECK(q("1", "HRC").count() == 1'000'000'000);
  CHECK(q("0.000000001", "N").count() == 1);
}

TEST_CASE("plain decimals are taken") {
  CHECK(q("25.021", "mm").count() == 25'021'000'000);
  CHECK(q("+012.345", "mm").text() == "12.345");
  CHECK(q("-000.007", "mm").text() == "-0.007");
  CHECK(q(".4375", "in").text() == "0.4375");
  CHECK(q("-.5", "in").count() == -12'700'000'000);
  CHECK(q("-0.000", "mm").count() == 0);
  CHECK(q("-0", "mm").text() == "0");
  CHECK(q("7.00000000000000000000000000000000", "mm").count() == 7'000'000'000);
  CHECK(q("000000000000000000000000000000000000007", "mm").count() == 7'000'000'000);
  CHECK(Quantity::parse("-12,345", unit("mm"), ',')->text() == "-12.345");
}

TEST_CASE("anything else is refused, never rounded") {
  CHECK(code_of("", "mm") == "empty");
  for (const std::string_view text : {"+",
                                      "-",
                                      ".",
                                      "-.",
                                      "5.",
                                      "1e3",
                                      "1E3",
                                      "1.5e-3",
                                      "nan",
                                      "NaN",
                                      "inf",
                                      "-inf",
                                      "0x10",
                                      "1 2",
                                      " 1",
                                      "1 ",
                                      "1\t",
                                      "1\n",
                                      "1.2.3",
                                      "1,2",
                                      "1'000",
                                      "1_000",
                                      "--1",
                                      "+-1",
                                      "1-",
                                      "12.345-",
                                      "1/2",
                                      "\xd9\xa1",
                                      "\xef\xbc\x91",
                                      "\xe2\x88\x92"
                                      "1",
                                      "1mm",
                                      "1d",
                                      "$1",
                                      "1.",
                                      "1.e",
                                      "e5"}) {
    CAPTURE(text);
    CHECK(code_of(text, "mm") == "not_a_decimal");
    CHECK(code_of(text, "degF") == "not_a_decimal");
  }
  CHECK(code_of(std::string_view("1\0", 2), "mm") == "not_a_decimal");
  CHECK(code_of("1.5", "mm", ',') == "not_a_decimal");
  CHECK(code_of("1,000.5", "mm") == "not_a_decimal");
}

TEST_CASE("more digits than the base holds") {
  CHECK(code_of("0.0000000001", "mm") == "too_many_digits");
  CHECK(code_of("0.000000001", "mm") == "taken as 0.000000001");
  CHECK(code_of("0.0000000001", "m") == "taken as 0.0000000001");
  CHECK(code_of("0.0001", "nm") == "too_many_digits");
  CHECK(code_of("0.000000005", "in") == "taken as 0.000000005");  // 127 pm
  CHECK(code_of("0.000000001", "in") == "too_many_digits");       // 25.4 pm
  CHECK(code_of("0.0000000025", "in") == "too_many_digits");      // 63.5 pm
  CHECK(code_of("0.0001", "uin") == "too_many_digits");
  CHECK(code_of("0.005", "uin") == "taken as 0.005");
  CHECK(code_of("0.0000000000025", "deg") == "taken as 0.0000000000025");  // 9 nano-arcseconds
  CHECK(code_of("0.0000000000001", "deg") == "too_many_digits");
  CHECK(code_of("0d0m0.0000000001s", "dms") == "too_many_digits");
  CHECK(code_of("20.0000001", "degC") == "too_many_digits");
  CHECK(code_of("68.000001", "degF") == "too_many_digits");
  CHECK(code_of("0.0000000001", "HRC") == "too_many_digits");
  CHECK(code_of("0." + std::string(300, '1'), "mm") == "too_many_digits");
}

TEST_CASE("overflow at the very edge") {
  CHECK(code_of("9223372036.854775807", "mm") == "taken as 9223372036.854775807");
  CHECK(code_of("-9223372036.854775807", "mm") == "taken as -9223372036.854775807");
  CHECK(code_of("9223372036.854775808", "mm") == "overflow");
  CHECK(code_of("-9223372036.854775808", "mm") ==
        "overflow");  // kept symmetric, so that a sign can be turned
  CHECK(code_of("9223372.036854775808", "m") == "overflow");
  CHECK(code_of("363124883.4", "in") == "overflow");
  CHECK(code_of("363124883", "in") == "taken as 363124883");
  CHECK(code_of("2562048", "deg") == "overflow");
  CHECK(code_of("2562048d0m0s", "dms") == "overflow");
  CHECK(code_of("16602069665878", "degF") == "taken as 16602069665878");
  CHECK(code_of("16602069665879", "degF") == "overflow");
  CHECK(code_of("99999999999999999999999", "degF") == "overflow");
  CHECK(code_of("170141183460469231731687303715884105728", "mm") == "overflow");
  CHECK(code_of(std::string(300, '9'), "nm") == "overflow");
  CHECK(code_of(std::string(300, '9') + "." + std::string(300, '9'), "um") == "overflow");
}

TEST_CASE("text has as many digits as the value needs, and at least those asked for") {
  CHECK(q("25.0210", "mm").text() == "25.021");
  CHECK(q("25.0210", "mm").text(4) == "25.0210");
  CHECK(q("25", "mm").text(3) == "25.000");
  CHECK(q("25.0210001", "mm").text(3) == "25.0210001");
  CHECK(q("-0.0005", "in").text() == "-0.0005");
  CHECK(q("100", "mm").text() == "100");
  CHECK(q("0.4375", "in").text(unit("mm")).value() == "11.1125");
  CHECK(q("1", "thou").text(unit("um")).value() == "25.4");
  CHECK(q("1", "uin").text(unit("nm")).value() == "25.4");
  CHECK(Quantity::of_count(INT64_MIN, Unit()).text() == "-9223372036.854775808");
}

TEST_CASE("what has no finite decimal says so instead of rounding") {
  const auto text = q("11", "mm").text(unit("in"));
  REQUIRE_FALSE(text);
  CHECK(text.error().code == "not_exact");
  CHECK(text.error().hint.find("0.433070866 in") != std::string::npos);
  CHECK(q("0d0m1s", "dms").in(unit("deg")).error().code == "not_exact");
  CHECK(q("12.7", "mm").in(unit("in"))->text() == "0.5");
  CHECK(q("1", "N").text(unit("kN")).error().code == "wrong_unit");
  CHECK(q("1", "degC").text(unit("delta-degC")).error().code == "wrong_unit");
  CHECK(q("1", "mm").in(unit("deg")).error().code == "wrong_unit");
}

TEST_CASE("a quantity's own unit can always write it") {
  const auto third = Quantity::of_count(1'000'000'000, unit("in"));
  CHECK(third.unit().name() == "mm");
  CHECK(third.text() == "1");
  CHECK(Quantity::of_count(127, unit("thou")).unit().name() == "thou");
  CHECK(Quantity::of_count(1, unit("deg")).text() == "0d0m0.000000001s");
  const auto shown = written(q("11.113", "mm"), unit("in"));
  CHECK(shown.text == "11.113");
  CHECK(shown.unit.name() == "mm");
  const auto exact = written(q("11.1125", "mm"), unit("in"), 5);
  CHECK(exact.text == "0.43750");
  CHECK(exact.unit.name() == "in");
}

TEST_CASE("degrees, minutes and seconds") {
  CHECK(q("12d30m15.5s", "dms").count() == 45'015'500'000'000);
  CHECK(q("12d30m", "dms").text() == "12d30m0s");
  CHECK(q("12d", "dms").text() == "12d0m0s");
  CHECK(q("-0d5m0s", "dms").text() == "-0d5m0s");
  CHECK(q("+0d0m59.999999999s", "dms").text() == "0d0m59.999999999s");
  CHECK(q("007d05m07.250s", "dms").text() == "7d5m7.25s");
  CHECK(q("12.5", "deg").text(unit("dms")).value() == "12d30m0s");
  CHECK(q("12d30m0.036s", "dms").text(unit("deg")).value() == "12.50001");
  CHECK(q("12d30m15.5s", "dms").text(2) == "12d30m15.50s");
  CHECK(Quantity::parse("1d2m3,5s", unit("dms"), ',')->text() == "1d2m3.5s");
  for (const std::string_view text : {"12",
                                      "12.5",
                                      "12.5d",
                                      "12d30",
                                      "12d30m15",
                                      "d",
                                      "12d60m0s",
                                      "12d0m60s",
                                      "12d-5m0s",
                                      "12d5m-1s",
                                      "12d5m+1s",
                                      "12d 5m",
                                      "12d15s",
                                      "12d5m3sx",
                                      "12d5m3s ",
                                      "12d5.5m",
                                      "--1d",
                                      "12D5M",
                                      "12d5m1e1s",
                                      "12d5m.s",
                                      "1d2m3s4s",
                                      "12d5m1.5.5s",
                                      "12d99999999999999999999m"}) {
    CAPTURE(text);
    CHECK(code_of(text, "dms") == "not_a_decimal");
  }
  CHECK(code_of("", "dms") == "empty");
  CHECK(code_of("-", "dms") == "not_a_decimal");
}

TEST_CASE("temperatures: points and differences") {
  CHECK(q("68", "degF").text(unit("degC")).value() == "20");
  CHECK(q("-40", "degF") == q("-40", "degC"));
  CHECK(q("20", "degC").text(unit("degF")).value() == "68");
  CHECK(q("71.1", "degF").text() ==
        "71.1");  // 294.8722222... K: rounded to the microkelvin, given back as it was
  CHECK(q("71.1", "degF").count() == 294'872'222);
  CHECK(q("98.60001", "degF").text() == "98.60001");
  CHECK(code_of("-273.15", "degC") == "taken as -273.15");
  CHECK(code_of("-273.16", "degC") == "below_absolute_zero");
  CHECK(code_of("-459.68", "degF") == "below_absolute_zero");
  CHECK(q("-300", "delta-degC").text() == "-300");
  const auto rise = subtract(q("23.5", "degC"), q("20", "degC"));
  CHECK(rise->text() == "3.5");
  CHECK(rise->unit().name() == "delta-degC");
  CHECK(add(q("20", "degC"), *rise)->text() == "23.5");
  CHECK(add(*rise, q("20", "degC"))->text() == "23.5");
  CHECK(subtract(q("20", "degC"), *rise)->text() == "16.5");
  CHECK(subtract(q("77", "degF"), q("68", "degF"))->text(unit("delta-degC")).value() == "5");
  CHECK(add(q("20", "degC"), q("20", "degC")).error().code == "wrong_unit");
  CHECK(subtract(*rise, q("20", "degC")).error().code == "wrong_unit");
}

TEST_CASE("sums are exact where binary floating point is not") {
  CHECK(0.1 + 0.2 != 0.3);  // the trap
  CHECK(*add(q("0.1", "mm"), q("0.2", "mm")) == q("0.3", "mm"));
  CHECK(add(q("0.1", "in"), q("0.2", "in"))->text() == "0.3");
  CHECK(subtract(q("0.3", "mm"), q("0.1", "mm"))->text() == "0.2");
  CHECK(add(q("1", "in"), q("0.1", "mm"))->text() == "25.5");  // no finite inch: in mm
  CHECK(add(q("1", "mm"), q("1", "N")).error().code == "wrong_unit");
  const auto most = Quantity::of_count(INT64_MAX, Unit());
  CHECK(add(most, Quantity::of_count(1, Unit())).error().code == "overflow");
  CHECK(subtract(Quantity::of_count(-INT64_MAX, Unit()), Quantity::of_count(1, Unit())).error().code ==
        "overflow");
  CHECK(subtract(most, most)->count() == 0);
}

TEST_CASE("rounding where it is declared: nearest, half to even") {
  CHECK(nearest(1, 3, Unit())->count() == 333'333'333);
  CHECK(nearest(-1, 3, Unit())->count() == -333'333'333);
  CHECK(nearest(1, 2'000'000'000, Unit())->count() == 0);
  CHECK(nearest(3, 2'000'000'000, Unit())->count() == 2);
  CHECK(nearest(-1, 2'000'000'000, Unit())->count() == 0);
  CHECK(nearest(-3, 2'000'000'000, Unit())->count() == -2);
  CHECK(nearest(INT64_MAX, 1, Unit()).error().code == "overflow");
  CHECK(nearest(3, 16, unit("in"))->text() == "0.1875");
}

TEST_CASE("shown text is shortened, half to even") {
  CHECK(shown_text(q("29.99994", "mm"), Unit(), 3) == "30");
  CHECK(shown_text(q("29.99994", "mm"), Unit(), 4) == "29.9999");
  CHECK(shown_text(q("0.125", "mm"), Unit(), 2) == "0.12");
  CHECK(shown_text(q("0.375", "mm"), Unit(), 2) == "0.38");
  CHECK(shown_text(q("-0.125", "mm"), Unit(), 2) == "-0.12");
  CHECK(shown_text(q("-0.001", "mm"), Unit(), 2) == "0");
  CHECK(shown_text(q("11", "mm"), unit("in"), 6) == "0.433071");
  CHECK(shown_text(Quantity::of_count(INT64_MAX, Unit()), unit("nm"), 18) == "9223372036854775.807");
  CHECK(shown_text(q("59d59m59.96s", "dms"), unit("dms"), 1) == "60d0m0s");
  CHECK(shown_text(q("70", "degF"), unit("degF"), 3) == "70");
}

TEST_CASE("units are exact names; near ones are proposed") {
  for (const Unit each : Unit::all()) CHECK(Unit::named(each.name()) == each);
  const auto hint = [](std::string_view name) {
    const auto found = Unit::named(name);
    REQUIRE_FALSE(found);
    CHECK(found.error().code == "unknown_unit");
    return found.error().hint;
  };
  CHECK(hint("MM").find("\"mm\"") != std::string::npos);
  CHECK(hint("inch").find("\"in\"") != std::string::npos);
  CHECK(hint("mil").find("\"thou\"") != std::string::npos);
  CHECK(hint("\xc2\xb5m").find("\"um\"") != std::string::npos);
  CHECK(hint("\xc2\xb0"
             "C")
            .find("\"degC\"") != std::string::npos);
  CHECK(hint("hrc").find("\"HRC\"") != std::string::npos);
  CHECK(hint("thuo").find("\"thou\"") != std::string::npos);
  CHECK(hint("delta_degC").find("\"delta-degC\"") != std::string::npos);
  CHECK(hint("furlong").find("mm, um, in") != std::string::npos);
  CHECK(hint("").find("mm") != std::string::npos);
  CHECK(hint(std::string(5000, 'x')).find("mm") != std::string::npos);
  CHECK(convertible(unit("uin"), unit("m")));
  CHECK_FALSE(convertible(unit("N"), unit("kN")));
  CHECK_FALSE(convertible(unit("HRC"), unit("HRB")));
  CHECK_FALSE(convertible(unit("mm"), unit("deg")));
}

TEST_CASE("messages never carry bytes that a terminal would act on") {
  CHECK(quoted("a\x1b[2J\xff") == "\"a\\x1b[2J\\xff\"");
  CHECK(quoted(std::string(100, 'a')).size() < 90);
  CHECK(text(Error{"c", "what", "file:3", "do this"}) == "file:3: what (do this)");
}
