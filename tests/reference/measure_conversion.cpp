// Conversions against published values; the source stands beside each.
#include <doctest/doctest.h>

#include "daemon/measure/quantity.hpp"
#include "tests/reference/csv_rows.hpp"

using namespace tallystick;

namespace {

Unit unit(std::string_view name) { return Unit::named(name).value(); }

std::string converted(std::string_view text, std::string_view from, std::string_view to) {
  const auto value = Quantity::parse(text, unit(from));
  if (!value) return value.error().code;
  const auto out = value->text(unit(to));
  return out ? *out : out.error().code;
}

}  // namespace

// International yard and pound agreement of 1959 (1 yd = 0.9144 m exactly; 36 in to the yard); ISO 31-1:1992
// annex; NIST SP 811 (2008) appendix B.8: inch 2.54 E-02 m, mil 2.54 E-05 m, microinch 2.54 E-08 m, all
// exact.
TEST_CASE("the inch is 25.4 mm exactly") {
  CHECK(converted("36", "in", "m") == "0.9144");
  CHECK(converted("1", "in", "mm") == "25.4");
  CHECK(converted("1", "in", "m") == "0.0254");
  CHECK(converted("1", "thou", "m") == "0.0000254");
  CHECK(converted("1", "uin", "m") == "0.0000000254");
  CHECK(converted("1000", "thou", "in") == "1");
  CHECK(converted("1000000", "uin", "in") == "1");
  CHECK(converted("0.4375", "in", "mm") == "11.1125");
}

// Fractions of an inch in decimals and in millimetres, as the conversion tables of machinists' handbooks
// print them (from memory; 1/64 in = 0.015625 in = 0.396875 mm follows from the inch above).
TEST_CASE("fractions of an inch") {
  struct Row {
    int sixty_fourths;
    const char* inches;
    const char* millimetres;
  };
  for (const Row& row :
       {Row{1, "0.015625", "0.396875"}, Row{2, "0.03125", "0.79375"}, Row{4, "0.0625", "1.5875"},
        Row{8, "0.125", "3.175"}, Row{12, "0.1875", "4.7625"}, Row{16, "0.25", "6.35"},
        Row{20, "0.3125", "7.9375"}, Row{24, "0.375", "9.525"}, Row{28, "0.4375", "11.1125"},
        Row{32, "0.5", "12.7"}, Row{36, "0.5625", "14.2875"}, Row{40, "0.625", "15.875"},
        Row{48, "0.75", "19.05"}, Row{56, "0.875", "22.225"}, Row{63, "0.984375", "25.003125"}}) {
    CAPTURE(row.sixty_fourths);
    const auto value = nearest(row.sixty_fourths, 64, unit("in")).value();
    CHECK(value.text() == row.inches);
    CHECK(value.text(unit("mm")).value() == row.millimetres);
    CHECK(converted(row.inches, "in", "mm") == row.millimetres);
    CHECK(converted(row.millimetres, "mm", "in") == row.inches);
  }
}

// NIST SP 811 (2008) appendix B.8: t/degC = (t/degF - 32) / 1.8; ISO 1:2016: the reference temperature of
// lengths is 20 degC (68 degF); 0 K = -273.15 degC = -459.67 degF (SI brochure, 9th edition, 2.3.1; the
// latter from memory).
TEST_CASE("temperatures") {
  CHECK(converted("32", "degF", "degC") == "0");
  CHECK(converted("212", "degF", "degC") == "100");
  CHECK(converted("68", "degF", "degC") == "20");
  CHECK(converted("20", "degC", "degF") == "68");
  CHECK(converted("-40", "degF", "degC") == "-40");
  CHECK(converted("-459.67", "degF", "degC") == "-273.15");
  CHECK(converted("-273.15", "degC", "degF") == "-459.67");
  CHECK(converted("1.8", "delta-degF", "delta-degC") == "1");
}

// SI brochure, 9th edition (2019), table 8: 1 deg = 60', 1' = 60".
TEST_CASE("angles") {
  CHECK(converted("1", "deg", "dms") == "1d0m0s");
  CHECK(converted("0d30m0s", "dms", "deg") == "0.5");
  CHECK(converted("0d0m36s", "dms", "deg") == "0.01");
  CHECK(converted("57.5", "deg", "dms") == "57d30m0s");
  CHECK(converted("0d1m0s", "dms", "deg") == "not_exact");  // 1/60 deg
}

// IEEE 488.2, sections 8.7.2 to 8.7.4: NR1 and NR2 are plain decimals, NR3 carries an exponent.
TEST_CASE("number forms of instruments") {
  int taken = 0, refused = 0;
  for (const auto& row : reference::rows("serial_and_nr_formats.csv")) {
    const std::string& shape = row.at("case");
    const std::string& text = row.at("text_shown_with_control_names");
    CAPTURE(text);
    if (shape == "NR1" || shape == "NR2") {
      CHECK(converted(text, "mm", "mm") == row.at("value"));
      ++taken;
    } else if (shape.starts_with("NR3") || shape == "NRf" || shape == "Not-a-number reply") {
      CHECK(converted(text, "mm", "mm") == "not_a_decimal");
      ++refused;
    } else if (row.at("value").starts_with("reject")) {
      CHECK_FALSE(Quantity::parse(std::string_view(text).substr(0, text.find('<')), Unit()));
      ++refused;
    } else if (shape == "plain signed decimal" || shape == "negative zero") {
      CHECK(converted(std::string_view(text).substr(0, text.find('<')), "mm", "mm") == row.at("value"));
      ++taken;
    }
  }
  CHECK(taken == 9);
  CHECK(refused == 11);
}
