// Properties over random values, held against Boost.Multiprecision's rationals, which share no code with the
// room.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <boost/multiprecision/cpp_int.hpp>
#include <cstdlib>
#include <vector>

#include "daemon/measure/reduction.hpp"

using namespace tallystick;
using Rational = boost::multiprecision::cpp_rational;
using boost::multiprecision::cpp_int;

namespace {

Unit unit(std::string_view name) { return Unit::named(name).value(); }

// 10,000 cases a property, the same in every run, unless the environment asks for others (RC_PARAMS="seed=... max_success=...").
const int many_cases = setenv("RC_PARAMS", "seed=20261125 max_success=10000", 0);

// rapidcheck reports on standard error; a failing property fails the case.
template <class Property>
void holds(const char* what, Property property) {
  REQUIRE(many_cases == 0);
  CHECK_MESSAGE(rc::check(what, property), what);
}

rc::Gen<Unit> any_unit() {
  return rc::gen::map(rc::gen::inRange<std::size_t>(0, Unit::all().size()),
                      [](std::size_t i) { return Unit::all()[i]; });
}
rc::Gen<Unit> any_length() {
  return rc::gen::map(rc::gen::element("mm", "um", "nm", "m", "in", "thou", "uin"), unit);
}

// Counts of every magnitude, also near the edges of int64.
rc::Gen<std::int64_t> any_count() {
  return rc::gen::oneOf(rc::gen::arbitrary<std::int64_t>(),
                        rc::gen::inRange<std::int64_t>(-200'000'000'000, 200'000'000'000),
                        rc::gen::inRange<std::int64_t>(-300, 300));
}

// A plain decimal's value, digit by digit.
Rational value_of(const std::string& text) {
  std::string digits;
  cpp_int power = 1;
  bool after = false;
  for (const char c : text) {
    if (c == '.') after = true;
    if (c < '0' || c > '9') continue;
    digits += c;
    if (after) power *= 10;
  }
  const auto first = digits.find_first_not_of('0');  // a leading 0 would mean octal
  const Rational size(cpp_int(first == std::string::npos ? "0" : digits.substr(first)), power);
  return text.front() == '-' ? Rational(-size) : size;
}

// Picometres in one unit of length, from the definitions and not from the table: 1 in = 25.4 mm.
Rational picometres_per(Unit length) {
  const Rational mm = 1'000'000'000;
  const Rational in = mm * 254 / 10;
  if (length.name() == "mm") return mm;
  if (length.name() == "um") return mm / 1'000;
  if (length.name() == "nm") return mm / 1'000'000;
  if (length.name() == "m") return mm * 1'000;
  if (length.name() == "in") return in;
  if (length.name() == "thou") return in / 1'000;
  return in / 1'000'000;
}

std::string decimal_text(std::int64_t digits, int places) {
  std::string text = std::to_string(digits < 0 ? -digits : digits);
  const auto decimals = static_cast<std::size_t>(places);
  if (text.size() <= decimals) text.insert(0, decimals + 1 - text.size(), '0');
  if (places > 0) text.insert(text.size() - decimals, 1, '.');
  return digits < 0 ? "-" + text : text;
}

}  // namespace

TEST_CASE("value -> text -> value gives the value back, in every unit") {
  holds("round trip of counts", [] {
    const auto count = *any_count();
    const auto wanted = *any_unit();
    RC_PRE(count != INT64_MIN);
    if (wanted.dimension() == Dimension::temperature) RC_PRE(count >= 0);
    const auto value = Quantity::of_count(count, wanted);
    if (scale_of(value.unit()).denominator != 1) return;  // Fahrenheit: the property below
    const auto back = Quantity::parse(value.text(), value.unit());
    RC_ASSERT(back);
    RC_ASSERT(back->count() == count);
    RC_ASSERT(back->text() == value.text());
  });
}

TEST_CASE("text -> value -> text gives the text back, Fahrenheit to five decimals") {
  holds("round trip of texts", [] {
    const auto wanted =
        unit(*rc::gen::element("mm", "um", "m", "in", "thou", "deg", "degC", "degF", "delta-degF", "HRC"));
    const int places = *rc::gen::inRange(0, wanted.name() == "thou" ? 4 : 6);
    const auto digits = *rc::gen::inRange<std::int64_t>(-10'000'000'000, 10'000'000'000);
    auto text = decimal_text(digits, places);
    const auto value = Quantity::parse(text, wanted);
    if (!value) {
      RC_ASSERT(value.error().code == "below_absolute_zero" || value.error().code == "overflow" ||
                value.error().code == "too_many_digits");
      RC_ASSERT(value.error().code != "too_many_digits" || wanted.name() == "um");
      return;
    }
    if (places > 0) {  // without trailing zeros
      while (text.back() == '0') text.pop_back();
      if (text.back() == '.') text.pop_back();
    }
    RC_ASSERT(value->text() == (digits == 0 ? "0" : text));
  });
}

TEST_CASE("a length is taken exactly when its picometres are whole and fit, and then has just that many") {
  holds("parse equals the rational", [] {
    const auto wanted = *any_length();
    const auto digits = *any_count();
    RC_PRE(digits != INT64_MIN);
    const auto text = decimal_text(digits, *rc::gen::inRange(0, 16));
    const Rational picometres = value_of(text) * picometres_per(wanted);
    const bool whole = denominator(picometres) == 1;
    const bool fits = abs(picometres) <= Rational(INT64_MAX);
    const auto value = Quantity::parse(text, wanted);
    RC_CLASSIFY(whole && fits);
    if (whole && fits) {
      RC_ASSERT(value);
      RC_ASSERT(cpp_int(value->count()) == numerator(picometres));
    } else {
      RC_ASSERT(!value);
      RC_ASSERT((!fits || value.error().code == "too_many_digits"));
    }
  });
}

TEST_CASE("text in another unit is the same value, or there is no finite decimal") {
  holds("conversion equals the rational", [] {
    const auto from = *any_length();
    const auto to = *any_length();
    const auto count = *any_count();
    RC_PRE(count != INT64_MIN);
    const auto text = Quantity::of_count(count, from).text(to);
    const Rational value = Rational(cpp_int(count)) / picometres_per(to);
    cpp_int rest = denominator(value);
    while (rest % 2 == 0) rest /= 2;
    while (rest % 5 == 0) rest /= 5;
    RC_ASSERT(text.has_value() == (rest == 1));
    if (text) RC_ASSERT(value_of(*text) == value);
  });
}

TEST_CASE("verdict, side and amount equal those of a naive model on rationals") {
  holds("judge equals the model", [] {
    const auto around = *rc::gen::inRange<std::int64_t>(-2'000'000, 2'000'000);
    const auto near = [around] { return around + *rc::gen::inRange<std::int64_t>(-40, 40); };
    struct Stated {
      Quantity quantity;
      Rational picometres;
    };
    const auto stated = [&near]() -> std::optional<Stated> {
      // The same neighbourhood in mm (five decimals), um and in, so that equal values in unlike units do
      // occur.
      const auto wanted = *any_length();
      const std::int64_t step = near() * 127 * 1'000;  // picometres, a finite decimal in every unit
      const auto text = Quantity::of_count(step, wanted).text(wanted);
      if (!text) return std::nullopt;
      return Stated{Quantity::parse(*text, wanted).value(), value_of(*text) * picometres_per(wanted)};
    };
    auto lower = stated(), upper = stated();
    const auto value = stated();
    RC_ASSERT(lower && upper && value);
    if (lower->picometres > upper->picometres) std::swap(lower, upper);
    switch (*rc::gen::inRange(0, 4)) {
      case 0:
        lower.reset();
        break;
      case 1:
        upper.reset();
        break;
      default:
        break;
    }
    const auto limits = Limits::direct(lower ? std::optional(lower->quantity) : std::nullopt,
                                       upper ? std::optional(upper->quantity) : std::nullopt);
    RC_ASSERT(limits);
    const auto judgement = judge(*limits, value->quantity);
    RC_ASSERT(judgement);

    std::optional<Rational> inside_lower, inside_upper;
    if (lower) inside_lower = value->picometres - lower->picometres;
    if (upper) inside_upper = upper->picometres - value->picometres;
    const bool upper_is_nearer = inside_upper && (!inside_lower || *inside_upper <= *inside_lower);
    const Rational margin = upper_is_nearer ? *inside_upper : *inside_lower;
    RC_CLASSIFY(margin == 0, "on the limit");
    RC_CLASSIFY(margin < 0, "outside");
    RC_ASSERT(judgement->verdict == (margin >= 0 ? Verdict::accept : Verdict::reject));
    RC_ASSERT(judgement->side == (upper_is_nearer ? Side::upper : Side::lower));
    RC_ASSERT(Rational(cpp_int(judgement->by.count())) == abs(margin));
    RC_ASSERT(value_of(judgement->by.text()) * picometres_per(judgement->by.unit()) == abs(margin));
  });
}

TEST_CASE("a mean is the rational mean, to the nearest count, half to even") {
  holds("mean equals the rational", [] {
    const auto counts = *rc::gen::nonEmpty(rc::gen::container<std::vector<std::int64_t>>(any_count()));
    std::vector<Quantity> readings;
    Rational sum = 0;
    for (const auto count : counts) {
      RC_PRE(count != INT64_MIN);
      readings.push_back(Quantity::of_count(count, Unit()));
      sum += Rational(cpp_int(count));
    }
    const Rational mean = sum / Rational(cpp_int(counts.size()));
    const auto limits = Limits::direct(Quantity::of_count(0, Unit()), {}).value();
    const auto reduced = reduce(Reduction::mean, readings, limits);
    RC_ASSERT(reduced);
    const Rational off = abs(Rational(cpp_int(reduced->value.count())) - mean);
    RC_ASSERT(off <= Rational(1, 2));
    if (off == Rational(1, 2)) RC_ASSERT(reduced->value.count() % 2 == 0);
  });
}

TEST_CASE("no bytes at all make the parser do anything but answer") {
  holds("any bytes", [] {
    const auto bytes = *rc::gen::container<std::string>(rc::gen::oneOf(
        rc::gen::arbitrary<char>(), rc::gen::element('0', '9', '.', ',', '-', '+', 'e', 'd', 'm', 's', ' ')));
    const auto wanted = *any_unit();
    const auto value = Quantity::parse(bytes, wanted, *rc::gen::element('.', ','));
    if (!value) {
      RC_ASSERT(!value.error().code.empty());
      for (const char c : text(value.error())) RC_ASSERT(c >= 0x20 && c < 0x7f);
    } else if (scale_of(wanted).denominator == 1) {
      RC_ASSERT(Quantity::parse(value->text(), wanted)->count() == value->count());
    }
  });
}
