#include "daemon/measure/quantity.hpp"

#include <cassert>

#include "daemon/measure/whole.hpp"

namespace tallystick {
namespace {

tl::unexpected<Error> wrong_unit(Unit from, Unit to) {
  std::string hint = "both must measure the same thing";
  if (from.dimension() == Dimension::scalar && to.dimension() == Dimension::scalar) {
    hint = "named scalars are never converted; state both in the same unit";
  } else if (difference_unit(from).dimension() == difference_unit(to).dimension() &&
             difference_unit(from).dimension() == Dimension::temperature_difference) {
    hint = "a temperature and a difference of temperatures are not the same thing";
  }
  return fail("wrong_unit",
              "a value in " + std::string(from.name()) + " cannot be taken as " + std::string(to.name()), {},
              std::move(hint));
}

Expected<Quantity> counted(whole::Wide count, Unit unit, std::string_view doing) {
  if (!whole::fits(count)) {
    return fail("overflow", std::string(doing) + " is too large to hold in " + std::string(unit.name()));
  }
  return Quantity::of_count(whole::narrow(count), unit);
}

bool is_point(Unit unit) { return unit.dimension() == Dimension::temperature; }

}  // namespace

Expected<Quantity> Quantity::in(Unit unit) const {
  if (!convertible(unit_, unit)) return wrong_unit(unit_, unit);
  if (count_ % unit.step() != 0) {
    return fail(
        "not_exact",
        text() + " " + std::string(unit_.name()) + " has no finite decimal in " + std::string(unit.name()),
        {},
        "it is about " + shown_text(*this, unit, 9) + " " + std::string(unit.name()) + "; keep it in " +
            std::string(unit_.name()));
  }
  return Quantity(count_, unit);
}

std::strong_ordering Quantity::operator<=>(const Quantity& other) const {
  assert(convertible(unit_, other.unit_));
  if (!convertible(unit_, other.unit_)) return unit_.index() <=> other.unit_.index();
  return count_ <=> other.count_;
}

Expected<Quantity> add(Quantity a, Quantity b) {
  const whole::Wide sum = whole::Wide{a.count()} + b.count();
  if (is_point(a.unit()) != is_point(b.unit()) &&
      convertible(difference_unit(a.unit()), difference_unit(b.unit()))) {
    return counted(sum, is_point(a.unit()) ? a.unit() : b.unit(), "the sum");
  }
  // Two temperature points have no sum: 20 degC and 20 degC do not make 40 degC.
  if (!convertible(a.unit(), b.unit()) || is_point(a.unit()))
    return wrong_unit(b.unit(), difference_unit(a.unit()));
  return counted(sum, a.unit(), "the sum");
}

Expected<Quantity> subtract(Quantity a, Quantity b) {
  const whole::Wide difference = whole::Wide{a.count()} - b.count();
  if (is_point(a.unit()) && convertible(difference_unit(a.unit()), b.unit())) {
    return counted(difference, a.unit(), "the difference");
  }
  if (!convertible(a.unit(), b.unit())) return wrong_unit(b.unit(), a.unit());
  return counted(difference, difference_unit(a.unit()), "the difference");
}

Expected<Quantity> nearest(std::int64_t numerator, std::int64_t denominator, Unit unit) {
  assert(denominator > 0);
  const Scale scale = scale_of(unit);
  const whole::Wide product =
      whole::Wide{numerator} * scale.numerator + whole::Wide{scale.zero_numerator} * denominator;
  return counted(whole::divide_half_even(product, whole::Wide{denominator} * scale.denominator), unit,
                 "the value");
}

}  // namespace tallystick
