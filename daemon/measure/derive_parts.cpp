// What all computations have in common: numbers in and out, the working.
#include "daemon/measure/derive_parts.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <numbers>

namespace tallystick::derive {
namespace {

constexpr std::array<std::string_view, 8> kind_names = {
    "any", "length", "angle", "number", "temperature", "temperature_difference", "sweep", "word"};

constexpr double counts_a_millimetre = 1e9, counts_a_degree = 3.6e12, counts_a_kelvin = 1e6,
                 counts_a_number = 1e9;
constexpr double celsius_zero = 273'150'000;  // counts
constexpr double degrees_a_radian = 180 / std::numbers::pi;

// Lines are for a person with a pocket calculator: a nanometre, a millionth of a degree, nine digits of a
// number.
constexpr int length_decimals = 6, angle_decimals = 6, number_decimals = 9;

}  // namespace

std::string_view name(Kind kind) { return kind_names[static_cast<std::size_t>(kind)]; }

const Input* Given::find(std::string_view name) const {
  const auto found =
      std::find_if(inputs_.begin(), inputs_.end(), [&](const Input& input) { return input.name == name; });
  return found == inputs_.end() ? nullptr : &*found;
}

double Given::number(std::string_view name) const { return plain_number(value(name)); }

std::vector<double> Given::numbers(std::string_view name) const {
  std::vector<double> out;
  for (const auto& one : values(name)) out.push_back(plain_number(one));
  return out;
}

const Shape* shape_named(std::span<const Shape> shapes, std::string_view name) {
  const auto found =
      std::find_if(shapes.begin(), shapes.end(), [&](const Shape& shape) { return shape.name == name; });
  return found == shapes.end() ? nullptr : &*found;
}

Done equally_many(std::span<const Shape> shapes, std::string_view a, std::string_view b) {
  const auto *first = shape_named(shapes, a), *second = shape_named(shapes, b);
  if (first == nullptr || second == nullptr || first->count == second->count) return {};
  return fail("wrong_number_of_values",
              "there are " + std::to_string(second->count) + " values of " + std::string(b) + " and " +
                  std::to_string(first->count) + " of " + std::string(a),
              std::string(b), "give one for each point");
}

double plain_number(Quantity value) {
  const auto count = static_cast<double>(value.count());
  switch (value.dimension()) {
    case Dimension::length:
      return count / counts_a_millimetre;
    case Dimension::angle:
      return count / counts_a_degree / degrees_a_radian;
    case Dimension::temperature:
      return (count - celsius_zero) / counts_a_kelvin;
    case Dimension::temperature_difference:
      return count / counts_a_kelvin;
    case Dimension::scalar:
      break;
  }
  return count / counts_a_number;
}

Expected<Quantity> quantity_of(double plain, Unit unit) {
  if (!std::isfinite(plain))
    return fail("not_a_number", "the computation has no finite result", {},
                "look at the values that went in");
  double count = plain * counts_a_number;
  switch (unit.dimension()) {
    case Dimension::length:
      count = plain * counts_a_millimetre;
      break;
    case Dimension::angle:
      count = plain * degrees_a_radian * counts_a_degree;
      break;
    case Dimension::temperature:
      count = plain * counts_a_kelvin + celsius_zero;
      break;
    case Dimension::temperature_difference:
      count = plain * counts_a_kelvin;
      break;
    case Dimension::scalar:
      break;
  }
  constexpr double most = 9.2e18;
  if (std::abs(count) > most)
    return fail("overflow", "the result does not fit its exact count", {}, "look at the values that went in");
  if (unit.dimension() == Dimension::temperature && count < 0)
    return fail("below_absolute_zero", "the result is colder than can be", {},
                "look at the values that went in");
  return Quantity::of_count(static_cast<std::int64_t>(std::nearbyint(count)), unit);
}

std::string shortest(double number) {
  if (number == 0) return "0";  // -0 too
  std::array<char, 400> text{};
  const auto end = std::to_chars(text.data(), text.data() + text.size(), number, std::chars_format::fixed);
  return {text.data(), end.ptr};
}

namespace {

/// Rounded to `decimals`, without trailing zeros. A number too great for its digits is written as it is.
std::string shown(double value, int decimals) {
  std::array<char, 400> text{};
  const auto end =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, decimals);
  std::string out(text.data(), end.ptr);
  out.erase(out.find_last_not_of('0') + 1);
  if (out.ends_with('.')) out.pop_back();
  return out == "-0" ? "0" : out;
}

}  // namespace

Working& Working::exact(std::string_view name, Quantity value) {
  const auto shown_in = convertible(value.unit(), unit_) ? unit_ : value.unit();
  const auto text = written(value, shown_in);
  lines.push_back({std::string(name), text.text, std::string(text.unit.name())});
  return *this;
}

Working& Working::length(std::string_view name, double millimetres) {
  if (unit_.dimension() != Dimension::length) {
    lines.push_back({std::string(name), shown(millimetres, length_decimals), "mm"});
    return *this;
  }
  const auto scale = static_cast<double>(scale_of(unit_).numerator) / counts_a_millimetre;
  // As fine as a nanometre, whatever the unit.
  const int decimals = std::max(0, static_cast<int>(std::ceil(length_decimals + std::log10(scale))));
  lines.push_back({std::string(name), shown(millimetres / scale, decimals), std::string(unit_.name())});
  return *this;
}

Working& Working::angle(std::string_view name, double radians) {
  lines.push_back({std::string(name), shown(radians * degrees_a_radian, angle_decimals), "deg"});
  return *this;
}

Working& Working::number(std::string_view name, double value) {
  lines.push_back({std::string(name), shown(value, number_decimals), "1"});
  return *this;
}

Working& Working::count(std::string_view name, std::size_t value) {
  lines.push_back({std::string(name), std::to_string(value), "1"});
  return *this;
}

tl::unexpected<Error> at(Error error, std::string_view input) {
  error.where = std::string(input);
  return tl::unexpected(std::move(error));
}

Expected<Derived> of_exact(const Given& given, Quantity value, Working working) {
  if (!convertible(value.unit(), given.unit))
    return fail(
        "wrong_unit",
        "the result is in " + std::string(value.unit().name()) + ", not in " + std::string(given.unit.name()),
        "unit");
  return Derived{Quantity::of_count(value.count(), given.unit), shortest(plain_number(value)),
                 std::move(working.lines)};
}

Expected<Derived> of_double(const Given& given, double plain, std::string_view place, Working working) {
  const auto value = quantity_of(plain, given.unit);
  if (!value) return at(value.error(), place);
  return Derived{*value, shortest(plain), std::move(working.lines)};
}

}  // namespace tallystick::derive
