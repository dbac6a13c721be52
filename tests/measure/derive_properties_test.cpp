// Properties over at least 10,000 seeded cases each: the same ones in every run.
#include <doctest/doctest.h>

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

#include "daemon/measure/form.hpp"
#include "daemon/measure/rounding.hpp"
#include "tests/measure/derive_given.hpp"

using namespace tallystick;
using std::numbers::pi;

namespace {

constexpr int cases = 10'000;

using Chance = std::mt19937_64;

double between(Chance& chance, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(chance);
}
std::int64_t whole_between(Chance& chance, std::int64_t low, std::int64_t high) {
  return std::uniform_int_distribution<std::int64_t>(low, high)(chance);
}
Quantity count(std::int64_t count, std::string_view unit = "mm") {
  return Quantity::of_count(count, given::unit(unit));
}

/// A section as an indicator shows it: off centre, with lobes and noise, to the tenth of a micrometre.
std::vector<Quantity> any_section(Chance& chance) {
  const auto samples = static_cast<std::size_t>(whole_between(chance, 8, 72));
  const double off = between(chance, 0.001, 0.05), towards = between(chance, 0, 2 * pi);
  const double lobe = between(chance, 0, 0.01), shift = between(chance, 0, 2 * pi);
  const auto lobes = static_cast<double>(whole_between(chance, 2, 7));
  std::vector<Quantity> out;
  for (std::size_t n = 0; n < samples; ++n) {
    const double angle = 2 * pi * static_cast<double>(n) / static_cast<double>(samples);
    const double height = off * std::cos(angle - towards) + lobe * std::cos(lobes * angle + shift) +
                          between(chance, -1e-3, 1e-3);
    out.push_back(count(std::llround(height * 1e4) * 100'000));
  }
  return out;
}

double number(const std::string& text) { return std::stod(text); }

}  // namespace

TEST_CASE(
    "property: every limit of four decimals of an inch up to 4 in gives in millimetres the same verdicts") {
  // All of them, not a sample: on the limit, and one count to either side.
  std::size_t looked_at = 0;
  for (std::int64_t ten_thousandths = 0; ten_thousandths <= 40'000; ++ten_thousandths) {
    const auto limit = count(ten_thousandths * 2'540'000, "in");
    const auto in_mm = limit.in(given::unit("mm"));
    REQUIRE(in_mm);
    const auto inches = Limits::direct({}, limit), millimetres = Limits::direct({}, *in_mm);
    const auto lower_inches = Limits::direct(limit, {}), lower_millimetres = Limits::direct(*in_mm, {});
    for (const std::int64_t by : {-1, 0, 1}) {
      const auto value = count(limit.count() + by);
      for (const auto& [a, b, outside] :
           {std::tuple{*inches, *millimetres, 1}, {*lower_inches, *lower_millimetres, -1}}) {
        const auto one = judge(a, value), other = judge(b, value);
        REQUIRE(one);
        REQUIRE(other);
        REQUIRE(one->verdict == (by == outside ? Verdict::reject : Verdict::accept));
        REQUIRE(one->verdict == other->verdict);
        REQUIRE(one->by == other->by);
        ++looked_at;
      }
    }
  }
  CHECK(looked_at == 40'001 * 6);
}

TEST_CASE("property: verdicts are monotone in the value, by every method") {
  Chance chance(1);
  std::size_t accepted = 0;
  for (int n = 0; n < cases; ++n) {
    const auto low = whole_between(chance, -2'000, 2'000) * 100'000,
               high = low + whole_between(chance, 0, 2'000) * 100'000;
    const auto limits = Limits::direct(count(low), count(high));
    REQUIRE(limits);
    std::array<std::int64_t, 3> values{};
    for (auto& value : values) value = low + whole_between(chance, -300'000'000, 500'000'000);
    std::sort(values.begin(), values.end());
    for (const auto method : {JudgingMethod::absolute, JudgingMethod::half_even, JudgingMethod::half_up}) {
      int before = -1;
      for (const auto value : values) {
        const auto found = judge(*limits, count(value), given::unit("mm"), 3, method);
        REQUIRE(found);
        // Below, inside, above: a greater value is never farther down.
        const int rank = found->judgement.verdict == Verdict::accept ? 0
                         : found->judgement.side == Side::lower      ? -1
                                                                     : 1;
        REQUIRE(rank >= before);
        before = rank;
        if (rank == 0) ++accepted;
      }
    }
  }
  CHECK(accepted > 1'000);
}

TEST_CASE("property: where a sweep starts changes nothing but the direction, which turns along") {
  Chance chance(2);
  for (int n = 0; n < cases; ++n) {
    const auto readings = any_section(chance);
    const auto start =
        static_cast<std::size_t>(whole_between(chance, 1, static_cast<std::int64_t>(readings.size()) - 1));
    auto turned = readings;
    std::rotate(turned.begin(), turned.begin() + static_cast<std::ptrdiff_t>(start), turned.end());
    const auto one = derive::sweep_figures(readings, 1), other = derive::sweep_figures(turned, 1);
    REQUIRE(one.error.empty());
    REQUIRE(other.error.empty());
    REQUIRE(one.span == other.span);
    REQUIRE(one.least == other.least);
    const double close = 1e-12 * number(one.span);
    for (const auto member : {&derive::SweepFigures::eccentricity, &derive::SweepFigures::roundness,
                              &derive::SweepFigures::minimum_zone, &derive::SweepFigures::circumscribed,
                              &derive::SweepFigures::inscribed})
      if ((one.*member) != (other.*member))
        REQUIRE(std::abs(number(one.*member) - number(other.*member)) <= close);
    const double by = 2 * pi * static_cast<double>(start) / static_cast<double>(readings.size());
    const double left = std::remainder(number(one.direction) - number(other.direction) - by, 2 * pi);
    REQUIRE(std::abs(left) * number(one.eccentricity) <= 1e-11 * number(one.span));
  }
}

TEST_CASE("property: a bolt circle moved and turned gives the same positions about its own centre") {
  Chance chance(3);
  for (int n = 0; n < cases; ++n) {
    const auto holes = static_cast<std::size_t>(whole_between(chance, 3, 12));
    const double radius = between(chance, 10, 80), first = between(chance, -pi, pi),
                 turn = between(chance, -pi, pi);
    const auto move_x = whole_between(chance, -500'000'000'000, 500'000'000'000),
               move_y = whole_between(chance, -500'000'000'000, 500'000'000'000);
    derive::Input x{"x", {}, {}, {}}, y{"y", {}, {}, {}}, moved_x = x, moved_y = y;
    for (std::size_t hole = 0; hole < holes; ++hole) {
      const double angle = first + 2 * pi * static_cast<double>(hole) / static_cast<double>(holes);
      const double there_x = radius * std::cos(angle) + between(chance, -0.1, 0.1),
                   there_y = radius * std::sin(angle) + between(chance, -0.1, 0.1);
      x.values.push_back(*of_millimetres(there_x, 9));
      y.values.push_back(*of_millimetres(there_y, 9));
      const auto turned_x = of_millimetres(there_x * std::cos(turn) - there_y * std::sin(turn), 9),
                 turned_y = of_millimetres(there_x * std::sin(turn) + there_y * std::cos(turn), 9);
      moved_x.values.push_back(count(turned_x->count() + move_x));
      moved_y.values.push_back(count(turned_y->count() + move_y));
    }
    const derive::Input nominal{"nominal_diameter", {*of_millimetres(2 * radius, 6)}, {}, {}};
    const std::vector<derive::Input> here = {x, y, nominal}, there = {moved_x, moved_y, nominal};
    for (const auto* name : {"bolt_circle_pattern", "bolt_circle_diameter"}) {
      const std::vector<derive::Input> round = {x, y}, moved = {moved_x, moved_y};
      const bool whole = std::string_view(name) == "bolt_circle_diameter";
      const auto one = derive::derive(name, {}, whole ? round : here, Unit()),
                 other = derive::derive(name, {}, whole ? moved : there, Unit());
      REQUIRE(one);
      REQUIRE(other);
      // Each coordinate is rounded to the picometre after the turn.
      REQUIRE(std::abs(one->value.count() - other->value.count()) <= 5);
    }
    // Moved alone, with the print's angle: nothing is rounded but the fit.
    const derive::Input at{"first_hole", {*Quantity::parse("0", given::unit("deg"))}, {}, {}};
    auto moved_alone = std::vector<derive::Input>{x, y, nominal, at};
    const auto still = derive::derive("bolt_circle_pattern", {}, moved_alone, Unit());
    for (auto& value : moved_alone[0].values) value = count(value.count() + move_x);
    for (auto& value : moved_alone[1].values) value = count(value.count() + move_y);
    const auto moved = derive::derive("bolt_circle_pattern", {}, moved_alone, Unit());
    REQUIRE(still);
    REQUIRE(moved);
    REQUIRE(std::abs(still->value.count() - moved->value.count()) <= 2);
  }
}

namespace {

/// The same expression as text and as C++'s own arithmetic, of lengths a, b, c, numbers n, m and an angle t.
struct Expression {
  std::string text;
  double value = 0;
};

struct Values {
  double a, b, c, n, m, t;
};

Expression any_number(Chance& chance, const Values& values, int depth);

Expression any_length(Chance& chance, const Values& values, int depth) {
  const auto choice = depth == 0 ? whole_between(chance, 0, 2) : whole_between(chance, 0, 9);
  if (choice == 0) return {"a", values.a};
  if (choice == 1) return {"b", values.b};
  if (choice == 2) return {"c", values.c};
  const auto one = any_length(chance, values, depth - 1);
  if (choice == 3) return {"abs(" + one.text + ")", std::abs(one.value)};
  if (choice == 4) return {"-(" + one.text + ")", -one.value};
  if (choice <= 7) {
    const auto other = any_length(chance, values, depth - 1);
    if (choice == 5) return {"(" + one.text + " + " + other.text + ")", one.value + other.value};
    if (choice == 6) return {"(" + one.text + " - " + other.text + ")", one.value - other.value};
    return {"max(" + one.text + ", " + other.text + ")", std::max(one.value, other.value)};
  }
  const auto factor = any_number(chance, values, depth - 1);
  if (choice == 8) return {"(" + one.text + " * " + factor.text + ")", one.value * factor.value};
  return {"(" + one.text + " / " + factor.text + ")", one.value / factor.value};
}

Expression any_number(Chance& chance, const Values& values, int depth) {
  const auto choice = depth == 0 ? whole_between(chance, 0, 3) : whole_between(chance, 0, 9);
  if (choice == 0) return {"n", values.n};
  if (choice == 1) return {"m", values.m};
  if (choice == 2) return {"sin(t)", std::sin(values.t)};
  if (choice == 3) {
    const auto literal = whole_between(chance, 1, 64);  // quarters: the same double in text and here
    return {std::to_string(literal / 4) + "." +
                std::array{"00", "25", "50", "75"}[static_cast<std::size_t>(literal % 4)],
            static_cast<double>(literal) / 4};
  }
  if (choice == 4) {
    const auto one = any_length(chance, values, depth - 1), other = any_length(chance, values, depth - 1);
    return {"(" + one.text + " / " + other.text + ")", one.value / other.value};
  }
  const auto one = any_number(chance, values, depth - 1);
  if (choice == 5) return {"sqrt(" + one.text + ")", std::sqrt(one.value)};
  const auto other = any_number(chance, values, depth - 1);
  if (choice == 6) return {"(" + one.text + " + " + other.text + ")", one.value + other.value};
  if (choice == 7) return {"(" + one.text + " - " + other.text + ")", one.value - other.value};
  if (choice == 8) return {"(" + one.text + " * " + other.text + ")", one.value * other.value};
  return {"(" + one.text + " / " + other.text + ")", one.value / other.value};
}

}  // namespace

TEST_CASE(
    "property: a formula gives what the same arithmetic gives in C++, bit for bit, or says that it is no "
    "number") {
  Chance chance(4);
  std::size_t worked = 0, refused = 0;
  for (int n = 0; n < cases; ++n) {
    const std::vector<derive::Input> inputs = {
        {"a", {count(whole_between(chance, 1, 200'000'000) * 1'000)}, {}, {}},
        {"b", {count(whole_between(chance, 1, 200'000'000) * 1'000)}, {}, {}},
        {"c", {count(whole_between(chance, 1, 4'000) * 25'400'000, "in")}, {}, {}},
        {"n", {count(whole_between(chance, 1, 20'000) * 1'000'000, "ratio")}, {}, {}},
        {"m", {count(whole_between(chance, 1, 12) * 1'000'000'000, "count")}, {}, {}},
        {"t", {count(whole_between(chance, 1, 9'000) * 36'000'000'000, "deg")}, {}, {}}};
    const auto plain = [&](std::size_t at, double per) {
      return static_cast<double>(inputs[at].values.front().count()) / per;
    };
    const Values values{plain(0, 1e9), plain(1, 1e9), plain(2, 1e9),
                        plain(3, 1e9), plain(4, 1e9), plain(5, 3.6e12) / (180 / pi)};
    const bool of_length = n % 2 == 0;
    const auto wanted = of_length ? any_length(chance, values, 3) : any_number(chance, values, 3);
    const auto found =
        derive::derive("formula", wanted.text, inputs, given::unit(of_length ? "mm" : "ratio"));
    CAPTURE(wanted.text);
    if (found) {
      REQUIRE(number(found->unrounded) == wanted.value);
      ++worked;
      continue;
    }
    CAPTURE(text(found.error()));
    const bool not_finite = !std::isfinite(wanted.value), too_great = std::abs(wanted.value) > 9.1e9;
    const auto& code = found.error().code;
    // sqrt of what can never be positive, a division by a - a: found before any value is known.
    const bool never = code == "bad_formula" && not_finite;
    REQUIRE((never || (code == "not_a_number" && not_finite) || (code == "overflow" && too_great)));
    ++refused;
  }
  CHECK(worked > 9'000);
  CHECK(refused > 50);
}

TEST_CASE("property: the eccentricity found under noise scatters as theory says") {
  // Least squares of n readings at equal angles with noise of standard deviation sigma: each of both
  // components of the first harmonic has the variance 2 sigma^2 / n (any text on linear regression; from
  // memory). Sums of squares of 10,000 of them are held against chi-square's quantiles (Boost.Math) at one in
  // a million on either side.
  Chance chance(5);
  constexpr int samples = 36;
  constexpr double sigma = 0.0005, off = 0.02;
  const double theory = sigma * std::sqrt(2.0 / samples);
  std::normal_distribution<double> noise(0, sigma);
  double along = 0, across = 0, stated = 0;
  for (int n = 0; n < cases; ++n) {
    const double towards = between(chance, 0, 2 * pi);
    std::vector<form::PolarReading> readings;
    for (int k = 0; k < samples; ++k) {
      const double angle = 2 * pi * k / samples;
      readings.push_back({angle, off * std::cos(angle - towards) + noise(chance)});
    }
    const auto found = form::section(readings);
    REQUIRE(found);
    along += std::pow((found->eccentricity - off) / theory, 2);
    across += std::pow(std::remainder(found->direction_rad - towards, 2 * pi) * off / theory, 2);
    stated += std::pow(found->eccentricity_error / theory, 2);
  }
  const boost::math::chi_squared theirs(cases);
  for (const double sum : {along, across}) {
    CHECK(sum > boost::math::quantile(theirs, 1e-6));
    CHECK(sum < boost::math::quantile(complement(theirs, 1e-6)));
  }
  // What the section itself states of its error is right on average: 33 degrees of freedom each.
  const boost::math::chi_squared residuals(33.0 * cases);
  CHECK(stated * 33 > boost::math::quantile(residuals, 1e-6));
  CHECK(stated * 33 < boost::math::quantile(complement(residuals, 1e-6)));
}

TEST_CASE("property: means, spans and walls in inches and in millimetres are the same counts") {
  Chance chance(6);
  for (int n = 0; n < cases; ++n) {
    derive::Input inches{"values", {}, {}, {}}, millimetres = inches;
    for (std::int64_t k = whole_between(chance, 2, 7); k > 0; --k) {
      const auto value = count(whole_between(chance, -40'000, 40'000) * 2'540'000, "in");
      inches.values.push_back(value);
      millimetres.values.push_back(*value.in(Unit()));
    }
    for (const auto* name : {"mean", "median", "range", "greatest", "least"}) {
      const auto one = derive::derive(name, {}, std::vector{inches}, given::unit("in")),
                 other = derive::derive(name, {}, std::vector{millimetres}, given::unit("mm"));
      REQUIRE(one);
      REQUIRE(other);
      REQUIRE(one->value.count() == other->value.count());
    }
  }
}
