// Exact text <-> count.
//
// In every unit but dms the text is a plain decimal. In dms it is degrees, minutes and seconds,
// "12d30m15.5s": a sign for the whole, degrees, minutes 0..59, seconds below 60 with decimals; minutes and
// seconds may be left out from the end ("12d30m", "12d"). Written with all three, and never with 60. One
// form, in ASCII, without blanks: a degree sign would be two bytes, and primes are easily taken for feet and
// inches.
#include <cassert>

#include "daemon/measure/decimal.hpp"
#include "daemon/measure/quantity.hpp"

namespace tallystick {
namespace {

using whole::power_of_ten;
using whole::Wide;

constexpr int fahrenheit_decimals = 5;  // the finest that microkelvin gives back unchanged
constexpr Wide second = 1'000'000'000;  // nano-arcseconds
constexpr Wide minute = 60 * second;
constexpr Wide degree = 60 * minute;

bool is_dms(Unit unit) { return unit.name() == "dms"; }

tl::unexpected<Error> overflow(std::string_view text, Unit unit) {
  return fail("overflow", quoted(text) + " is too large to hold in " + std::string(unit.name()), {},
              "the largest is " + Quantity::of_count(INT64_MAX, unit).text() + " " +
                  std::string(Quantity::of_count(INT64_MAX, unit).unit().name()));
}

tl::unexpected<Error> too_many_digits(std::string_view text, Unit unit) {
  static constexpr std::string_view bases[] = {"a picometre", "a nano-arcsecond", "a microkelvin",
                                               "a microkelvin", "a thousand-millionth of the unit"};
  std::string_view base = bases[static_cast<std::size_t>(unit.dimension())];
  if (scale_of(unit).denominator != 1) base = "five decimals of a degree Fahrenheit";
  return fail("too_many_digits",
              quoted(text) + " has more digits than can be held exactly: the finest is " + std::string(base),
              {}, "values are never rounded; leave out digits that were not measured");
}

// `value` of one `per` counts, as a whole count.
Expected<Wide> counts_of(const decimal::Plain& value, Wide per, std::string_view text, Unit unit) {
  if (value.too_large || value.integer > Wide{INT64_MAX} / per + 1) return overflow(text, unit);
  if (value.too_fine || value.places > 13) return too_many_digits(text, unit);
  const Wide power = power_of_ten(value.places);
  const Wide product = (value.integer * power + value.fraction) * per;
  if (product % power != 0) return too_many_digits(text, unit);
  return product / power;
}

Expected<Wide> read_fahrenheit(const decimal::Plain& value, std::string_view text, Unit unit) {
  const Scale scale = scale_of(unit);
  if (value.too_large || value.integer > Wide{INT64_MAX} / scale.numerator * scale.denominator) {
    return overflow(text, unit);
  }
  if (value.too_fine || value.places > fahrenheit_decimals) return too_many_digits(text, unit);
  const Wide power = power_of_ten(value.places);
  const Wide digits = (value.integer * power + value.fraction) * (value.negative ? -1 : 1);
  return whole::divide_half_even(digits * scale.numerator + scale.zero_numerator * power,
                                 scale.denominator * power);
}

Expected<Wide> read_decimal(std::string_view text, Unit unit, char decimal_mark) {
  const auto value = decimal::read(text, decimal_mark);
  if (!value) return tl::unexpected(value.error());
  const Scale scale = scale_of(unit);
  if (scale.denominator != 1) return read_fahrenheit(*value, text, unit);
  const auto count = counts_of(*value, scale.numerator, text, unit);
  if (!count) return count;
  return (value->negative ? -*count : *count) + scale.zero_numerator;
}

tl::unexpected<Error> not_dms(std::string_view text, const std::string& finding) {
  return fail("not_a_decimal", quoted(text) + " is no angle in degrees, minutes and seconds: " + finding, {},
              "write it like 12d30m15.5s, -0d5m0s or 12d");
}

// Cuts the digits before `mark` off the front of `rest`; false where they are missing.
bool cut_part(std::string_view& rest, char mark, std::string_view& part) {
  const auto end = rest.find(mark);
  if (end == std::string_view::npos) return false;
  part = rest.substr(0, end);
  rest.remove_prefix(end + 1);
  return true;
}

bool only_digits(std::string_view part) {
  return !part.empty() && part.find_first_not_of("0123456789") == std::string_view::npos;
}

Expected<Wide> read_dms(std::string_view text, char decimal_mark) {
  if (text.empty()) return fail("empty", "an angle is missing: the text is empty");
  const Unit unit = *Unit::named("dms");
  std::string_view rest = text;
  const bool negative = rest.front() == '-';
  if (negative || rest.front() == '+') rest.remove_prefix(1);
  std::string_view degrees, minutes = "0", seconds = "0";
  if (!cut_part(rest, 'd', degrees) || !only_digits(degrees)) {
    return not_dms(text, "it does not begin with whole degrees and 'd'");
  }
  if (!rest.empty() && (!cut_part(rest, 'm', minutes) || !only_digits(minutes))) {
    return not_dms(text, "whole minutes and 'm' do not follow the degrees");
  }
  if (!rest.empty() && (!cut_part(rest, 's', seconds) || !rest.empty() || seconds.empty() ||
                        seconds.front() == '-' || seconds.front() == '+')) {
    return not_dms(text, "seconds and 's' do not end it");
  }
  Wide count = 0;
  for (const auto& [part, per, most] :
       {std::tuple{degrees, degree, Wide{INT64_MAX} / degree + 1}, std::tuple{minutes, minute, Wide{60}},
        std::tuple{seconds, second, Wide{60}}}) {
    const auto value = decimal::read(part, decimal_mark);
    if (!value) return not_dms(text, quoted(part) + " is not a plain decimal");
    if (per == degree && (value->too_large || value->integer >= most)) return overflow(text, unit);
    if (value->integer >= most) return not_dms(text, "minutes and seconds stay below 60");
    const auto counts = counts_of(*value, per, text, unit);
    if (!counts) return counts;
    count += *counts;
  }
  return negative ? -count : count;
}

std::string write_dms(Wide count, int least_decimals) {
  const bool negative = count < 0;
  const Wide size = negative ? -count : count;
  return std::string(negative ? "-" : "") + decimal::write(size / degree, 0, 0) + "d" +
         decimal::write(size % degree / minute, 0, 0) + "m" +
         decimal::write(size % minute, 9, least_decimals) + "s";
}

// Text of a count in a unit that can write it.
std::string write_exact(Wide count, Unit unit, int least_decimals) {
  if (is_dms(unit)) return write_dms(count, least_decimals);
  const Scale scale = scale_of(unit);
  if (scale.denominator != 1) {
    const Wide digits = whole::divide_half_even(
        (count * scale.denominator - scale.zero_numerator) * power_of_ten(fahrenheit_decimals),
        scale.numerator);
    return decimal::write(digits, fahrenheit_decimals, least_decimals);
  }
  // With the step cancelled, what is left of the scale divides a power of ten.
  const Wide per = scale.numerator / unit.step();
  int places = 0;
  while (power_of_ten(places) % per != 0) ++places;
  return decimal::write((count - scale.zero_numerator) / unit.step() * (power_of_ten(places) / per), places,
                        least_decimals);
}

}  // namespace

Expected<Quantity> Quantity::parse(std::string_view text, Unit unit, char decimal_mark) {
  assert(decimal_mark == '.' || decimal_mark == ',');
  const auto count = is_dms(unit) ? read_dms(text, decimal_mark) : read_decimal(text, unit, decimal_mark);
  if (!count) return tl::unexpected(count.error());
  if (!whole::fits(*count)) return overflow(text, unit);
  if (unit.dimension() == Dimension::temperature && *count < 0) {
    return fail("below_absolute_zero",
                quoted(text) + " " + std::string(unit.name()) + " is below absolute zero", {},
                "use delta-degC or delta-degF for a difference of temperatures");
  }
  return Quantity(whole::narrow(*count), unit);
}

Expected<std::string> Quantity::text(Unit unit, int least_decimals) const {
  const auto seen = in(unit);
  if (!seen) return tl::unexpected(seen.error());
  return write_exact(count_, unit, least_decimals);
}

std::string Quantity::text(int least_decimals) const { return write_exact(count_, unit_, least_decimals); }

Written written(Quantity value, Unit preferred, int least_decimals) {
  if (auto text = value.text(preferred, least_decimals)) return {*text, preferred};
  return {value.text(least_decimals), value.unit()};
}

std::string shown_text(Quantity value, Unit unit, int decimals) {
  assert(convertible(value.unit(), unit) && decimals >= 0 && decimals <= whole::most_places);
  if (is_dms(unit)) {
    const Wide coarse = power_of_ten(std::max(0, 9 - decimals));
    return write_dms(whole::divide_half_even(value.count(), coarse) * coarse, 0);
  }
  const Scale scale = scale_of(unit);
  const Wide numerator = Wide{value.count()} * scale.denominator - scale.zero_numerator;
  const Wide whole_part = numerator / scale.numerator;  // apart from the rest, so that no product overflows
  const Wide power = power_of_ten(decimals);
  const Wide digits =
      whole_part * power + whole::divide_half_even(numerator % scale.numerator * power, scale.numerator);
  return decimal::write(digits, decimals, 0);
}

}  // namespace tallystick
