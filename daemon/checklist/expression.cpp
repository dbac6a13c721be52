// Expression -> exact value, with the powers of the dimension checked on the way.
#include "daemon/checklist/expression.hpp"

#include <algorithm>
#include <limits>

#include "daemon/checklist/expression_node.hpp"

namespace tallystick::checklist {
namespace {

using boost::multiprecision::cpp_int;
using Node = Expression::Node;
using Kind = Node::Kind;

/// A value on its way: in base counts where it has a unit. `bare`: a decimal without a unit, and sums of
/// such.
struct Value {
  Rational value;
  int power = 0;
  bool bare = false;
  std::optional<Unit> unit;  // of what has a power; says which dimension
};

std::string fraction_text(const Rational& value) {
  if (denominator(value) == 1) return numerator(value).str();
  return numerator(value).str() + "/" + denominator(value).str();
}

cpp_int divide_down(const Rational& value) {
  cpp_int quotient = numerator(value) / denominator(value);
  if (value < 0 && quotient * denominator(value) != numerator(value)) --quotient;
  return quotient;
}

Rational half_even(const Rational& value) {
  const cpp_int down = divide_down(value);
  const Rational rest = value - Rational(down);
  const Rational half(1, 2);
  const bool up = rest > half || (rest == half && down % 2 != 0);
  return Rational(up ? cpp_int(down + 1) : down);
}

class Working {
 public:
  Working(const Columns& columns, std::optional<Unit> unit) : columns_(columns), unit_(unit) {}

  Expected<Value> value(const Node& node) const {
    switch (node.kind) {
      case Kind::decimal:
        return decimal(node);
      case Kind::column:
        return column(node);
      case Kind::multiply:
      case Kind::divide:
        return product(node);
      case Kind::negate:
        return negated(node);
      default:
        return sum_like(node);
    }
  }

  Expected<bool> condition(const Node& node) const {
    switch (node.kind) {
      case Kind::given: {
        const auto cell = columns_(node.text);
        if (!cell) return tl::unexpected(cell.error());
        return !cell->empty;
      }
      case Kind::negation: {
        const auto inner = condition(node.arguments[0]);
        if (!inner) return inner;
        return !*inner;
      }
      case Kind::both:
      case Kind::either: {
        const auto left = condition(node.arguments[0]);
        if (!left || *left == (node.kind == Kind::either)) return left;
        return condition(node.arguments[1]);
      }
      default:
        return comparison(node);
    }
  }

  /// Both on one scale, or why they cannot stand side by side.
  Done level(Value& left, Value& right) const {
    if (left.bare && right.bare) return {};
    if (left.bare) return take_scale_of(left, right);
    if (right.bare) return take_scale_of(right, left);
    if (left.power != right.power || (left.power != 0 && !convertible(*left.unit, *right.unit)))
      return fail("wrong_unit", "sets " + kind_of(left) + " beside " + kind_of(right), "",
                  "bring both to one unit, or declare the column's unit");
    return {};
  }
  static std::string kind_of(const Value& value) {
    if (value.bare) return "a decimal without a unit";
    if (value.power == 0) return "a plain number";
    const auto unit = "a value in " + std::string(value.unit->name());
    if (value.power == 1) return unit;
    return unit + " to the power of " + std::to_string(value.power);
  }

 private:
  Done take_scale_of(Value& bare, const Value& other) const {
    if (other.power == 1) {
      if (!unit_)
        return fail("wrong_unit", "sets a decimal without a unit beside " + kind_of(other), "",
                    "write the decimal's unit, as in 20 mm");
      bare.value = counts_of(bare.value, *unit_);
    } else if (other.power != 0) {
      return fail("wrong_unit", "sets a decimal without a unit beside " + kind_of(other));
    }
    bare.bare = false;
    bare.power = other.power;
    bare.unit = other.power == 1 && unit_ ? unit_ : other.unit;
    if (other.power == 1 && !convertible(*bare.unit, *other.unit))
      return fail("wrong_unit",
                  "sets a value in " + std::string(bare.unit->name()) + " beside " + kind_of(other));
    return {};
  }

  Expected<Value> decimal(const Node& node) const {
    if (!node.unit) return Value{node.value, 0, true, {}};
    return Value{counts_of(node.value, *node.unit), 1, false, node.unit};
  }
  Expected<Value> column(const Node& node) const {
    auto cell = columns_(node.text);
    if (!cell) return tl::unexpected(cell.error());
    if (cell->empty)
      return fail("empty_cell", "column \"" + node.text + "\" is empty in this row", "",
                  "fill it in, or make the feature exist only_if = \"given(" + node.text + ")\"");
    if (!cell->unit) return Value{std::move(cell->value), 0, false, {}};
    return Value{counts_of(cell->value, *cell->unit), 1, false, cell->unit};
  }
  Expected<Value> negated(const Node& node) const {
    auto inner = value(node.arguments[0]);
    if (!inner) return inner;
    if (auto done = no_point(*inner); !done) return tl::unexpected(done.error());
    inner->value = -inner->value;
    return inner;
  }
  /// Temperature points have no sum, product or opposite that means anything.
  static Done no_point(const Value& value) {
    if (value.unit && value.unit->dimension() == Dimension::temperature)
      return fail("wrong_unit", "reckons with a temperature point in " + std::string(value.unit->name()), "",
                  "write the limits out; only min and max can be taken of temperature points");
    return {};
  }
  Expected<Value> product(const Node& node) const {
    auto left = value(node.arguments[0]);
    if (!left) return left;
    auto right = value(node.arguments[1]);
    if (!right) return right;
    for (const auto* side : {&*left, &*right})
      if (auto done = no_point(*side); !done) return tl::unexpected(done.error());
    if (left->power != 0 && right->power != 0 && !convertible(*left->unit, *right->unit))
      return fail("wrong_unit", "multiplies " + Working::kind_of(*left) + " with " + kind_of(*right));
    Value out;
    out.bare = left->bare && right->bare;
    out.unit = left->unit ? left->unit : right->unit;
    if (node.kind == Kind::multiply) {
      out.power = left->power + right->power;
      out.value = left->value * right->value;
    } else {
      if (right->value == 0) return fail("division_by_zero", "divides by zero");
      out.power = left->power - right->power;
      out.value = left->value / right->value;
    }
    if (out.power == 0) out.unit.reset();
    return out;
  }
  Expected<Value> sum_like(const Node& node) const {
    auto left = value(node.arguments[0]);
    for (std::size_t i = 1; left && i < node.arguments.size(); ++i) {
      auto right = value(node.arguments[i]);
      if (!right) return right;
      if (auto done = level(*left, *right); !done) return tl::unexpected(done.error());
      const bool picks = node.kind == Kind::least || node.kind == Kind::greatest;
      if (auto done = no_point(*left); !picks && !done) return tl::unexpected(done.error());
      switch (node.kind) {
        case Kind::add:
          left->value += right->value;
          break;
        case Kind::subtract:
          left->value -= right->value;
          break;
        case Kind::least:
          left->value = std::min(left->value, right->value);
          break;
        case Kind::greatest:
          left->value = std::max(left->value, right->value);
          break;
        default:
          if (right->value <= 0)
            return fail("expression", "round to a step that is not above zero", "",
                        "round(x, 0.001) has a step of 0.001");
          left->value = half_even(left->value / right->value) * right->value;
      }
    }
    return left;
  }
  Expected<bool> comparison(const Node& node) const {
    auto left = value(node.arguments[0]);
    if (!left) return tl::unexpected(left.error());
    auto right = value(node.arguments[1]);
    if (!right) return tl::unexpected(right.error());
    if (auto done = level(*left, *right); !done) return tl::unexpected(done.error());
    switch (node.kind) {
      case Kind::equal:
        return left->value == right->value;
      case Kind::differs:
        return left->value != right->value;
      case Kind::less:
        return left->value < right->value;
      case Kind::at_most:
        return left->value <= right->value;
      case Kind::more:
        return left->value > right->value;
      default:
        return left->value >= right->value;
    }
  }

  const Columns& columns_;
  std::optional<Unit> unit_;
};

void collect_columns(const Node& node, std::vector<std::string>& out) {
  if ((node.kind == Kind::column || node.kind == Kind::given) &&
      std::find(out.begin(), out.end(), node.text) == out.end())
    out.push_back(node.text);
  for (const auto& argument : node.arguments) collect_columns(argument, out);
}

bool bare_where_it_counts(const Node& node) {
  if (node.kind == Kind::decimal) return !node.unit && node.value != 0;  // zero is zero in every unit
  if (node.kind == Kind::multiply || node.kind == Kind::divide)
    // A bare factor is a plain number; only where all factors are bare is their product a bare decimal.
    return std::all_of(node.arguments.begin(), node.arguments.end(), bare_where_it_counts);
  return std::any_of(node.arguments.begin(), node.arguments.end(), bare_where_it_counts);
}

Expected<Quantity> whole_count(const Rational& counts, Unit unit) {
  const auto one = counts_of(Rational(1), unit) - counts_of(Rational(0), unit);
  const auto zero = counts_of(Rational(0), unit);
  if (denominator(counts) != 1 || numerator(counts) % unit.step() != 0)
    return fail("not_whole",
                "the result is " + fraction_text((counts - zero) / one) + " " + std::string(unit.name()) +
                    ", which no finite decimal there holds exactly",
                "", "round it to the print's step: round(..., 0.001)");
  if (abs(counts) > Rational(std::numeric_limits<std::int64_t>::max()))
    return fail("overflow", "the result, " + fraction_text((counts - zero) / one) + " " +
                                std::string(unit.name()) + ", is too large");
  return Quantity::of_count(numerator(counts).convert_to<std::int64_t>(), unit);
}

}  // namespace

Expected<Rational> decimal_from(std::string_view text) {
  const bool negative = !text.empty() && text.front() == '-';
  const auto digits = text.substr(negative || (!text.empty() && text.front() == '+') ? 1 : 0);
  const auto point = digits.find('.');
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  bool good = !digits.empty() && digits.size() <= 40 && is_digit(digits.front()) && is_digit(digits.back());
  cpp_int integer = 0, scale = 1;
  for (std::size_t i = 0; good && i < digits.size(); ++i) {
    if (i == point) continue;
    good = is_digit(digits[i]);
    integer = integer * 10 + (digits[i] - '0');
    if (i > point) scale *= 10;
  }
  if (!good)
    return fail("not_a_decimal", "\"" + std::string(text.substr(0, 60)) + "\" is no plain decimal", "",
                "write it as 12.5: digits, with a point, without an exponent");
  return Rational(negative ? cpp_int(-integer) : integer, scale);
}

Rational counts_of(const Rational& value, Unit unit) {
  const auto scale = scale_of(unit);
  return (Rational(scale.zero_numerator) + value * scale.numerator) / scale.denominator;
}

std::vector<std::string> Expression::columns() const {
  std::vector<std::string> out;
  collect_columns(*root_, out);
  return out;
}

bool Expression::has_bare_decimal() const { return bare_where_it_counts(*root_); }

Expected<Quantity> Expression::work_out(const Columns& columns, Unit unit) const {
  auto value = Working(columns, unit).value(*root_);
  if (!value) return tl::unexpected(value.error());
  if (value->bare) return whole_count(counts_of(value->value, unit), unit);
  if (value->power != 1 || !convertible(*value->unit, unit))
    return fail(
        "wrong_unit",
        "comes out as " + Working::kind_of(*value) + ", expected a value in " + std::string(unit.name()), "",
        "declare the unit of its columns, or mend the formula");
  return whole_count(value->value, unit);
}

Expected<bool> Expression::holds(const Columns& columns) const {
  return Working(columns, std::nullopt).condition(*root_);
}

}  // namespace tallystick::checklist
