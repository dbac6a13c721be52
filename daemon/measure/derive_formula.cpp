// The formula line: for what no computation foresaw.
#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/formula_text.hpp"

namespace tallystick::derive {
namespace {

struct Variable {
  std::string name;
  Unit unit;
};

/// An input of one value is its name, a list of n values is name_1 to name_n.
Expected<std::vector<Variable>> variables_of(std::span<const Shape> shapes) {
  std::vector<Variable> out;
  for (const auto& shape : shapes) {
    if (shape.sweep || !shape.word.empty())
      return fail("wrong_unit", std::string(shape.sweep ? "a sweep" : "a word") + " is no value in a formula",
                  shape.name, "make a feature of it first (runout, eccentricity, ...), and name that");
    if (shape.count == 0) return fail("too_few_points", "there is no value", shape.name, "name a reading");
    for (std::size_t n = 0; n < shape.count; ++n)
      out.push_back({shape.count == 1 ? shape.name : shape.name + "_" + std::to_string(n + 1), shape.unit});
    if (const auto fault = FormulaText::fault_of_name(out.back().name); !fault.empty())
      return fail("bad_formula", quoted(shape.name) + " cannot be used: " + fault, shape.name,
                  "give the input another name");
  }
  for (std::size_t n = 0; n < out.size(); ++n)
    for (std::size_t other = 0; other < n; ++other)
      if (out[n].name == out[other].name)
        return fail("contradiction", quoted(out[n].name) + " stands for two values", out[n].name,
                    "name one of them otherwise");
  return out;
}

Expected<FormulaText> formula_of(std::string_view text, const std::vector<Variable>& variables) {
  std::vector<std::string> names;
  for (const auto& variable : variables) names.push_back(variable.name);
  return FormulaText::read(text, std::move(names));
}

/// A number in [0, 1) that depends on its two arguments alone (splitmix64, S. Vigna, public domain; from
/// memory).
double spread(std::uint64_t round, std::uint64_t place) {
  std::uint64_t z = round * 0x9e3779b97f4a7c15u + (place + 1) * 0xd1342543de82ef95u;
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
  return static_cast<double>((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

/// Values as they might be measured, all away from zero: lengths apart by up to ten times, or nearly alike.
std::vector<double> point(const std::vector<Variable>& variables, std::size_t round) {
  constexpr std::array apart = {10.0, 3.0, 1.3, 1.02};
  constexpr double middle_length = 40;
  std::vector<double> out;
  for (std::size_t n = 0; n < variables.size(); ++n) {
    const double part = spread(round, n);
    switch (variables[n].unit.dimension()) {
      case Dimension::length:
        out.push_back(middle_length * std::pow(apart[round % apart.size()], 2 * part - 1));
        break;
      case Dimension::angle:
        out.push_back(0.1 + 1.3 * part);
        break;
      case Dimension::temperature:
        out.push_back(15 + 10 * part);
        break;
      case Dimension::temperature_difference:
        out.push_back(0.5 + 5 * part);
        break;
      case Dimension::scalar:
        // A count, a factor, a share: log 0.01 to 1000 as well as some few units.
        out.push_back(round % 2 == 0 ? 0.5 + 9 * part : std::pow(10, 5 * part - 2));
        break;
    }
  }
  return out;
}

std::string with_values(const std::vector<Variable>& variables, std::span<const double> values) {
  std::string out;
  for (std::size_t n = 0; n < variables.size(); ++n)
    out += (n == 0 ? "" : ", ") + variables[n].name + " = " + shortest(values[n]);
  return out.empty() ? "no inputs" : out;
}

std::string told(double value) {
  return std::isnan(value) ? "no number" : std::isinf(value) ? "infinity" : shortest(value);
}

/// Length by length: whether f grows as its unit must when all lengths grow alike. Nothing is said of points
/// at which it has no value.
struct Growth {
  std::size_t looked_at = 0;
  std::optional<std::string> finding;
};

/// How often a length is in a unit: areas grow as the square of the lengths.
int degree_of(Unit unit) {
  if (unit.dimension() == Dimension::length) return 1;
  return unit.name() == "mm2" ? 2 : unit.name() == "mm3" ? 3 : 0;
}

Expected<Growth> growth(FormulaText& formula, const std::vector<Variable>& variables, int degree) {
  constexpr std::size_t rounds = 400, enough = 60;
  constexpr double relative = 1e-9, absolute = 1e-12;
  Growth out;
  for (std::size_t round = 0; round < rounds && out.looked_at < enough; ++round) {
    const auto here = point(variables, round);
    const auto value = formula.at(here);
    if (!value) return tl::unexpected(value.error());
    if (!std::isfinite(*value)) continue;
    ++out.looked_at;
    for (const double factor : {2.0, 0.5, 25.4}) {
      auto grown = here;
      double longest = 0;
      for (std::size_t n = 0; n < variables.size(); ++n) {
        grown[n] *= std::pow(factor, degree_of(variables[n].unit));
        if (variables[n].unit.dimension() == Dimension::length)
          longest = std::max(longest, std::abs(grown[n]));
      }
      const auto then = formula.at(grown);
      if (!then) return tl::unexpected(then.error());
      const double wanted = *value * std::pow(factor, degree);
      const double amount = std::max(std::abs(wanted), std::abs(*then));
      if (std::abs(*then - wanted) <= relative * amount + absolute * std::pow(longest, degree)) continue;
      out.finding = "with " + with_values(variables, here) + " it gives " + told(*value) +
                    ", with all lengths times " + shortest(factor) + " it gives " + told(*then) +
                    " instead of " + told(wanted);
      return out;
    }
  }
  return out;
}

/// `has_value`: it is known to have one somewhere.
Done grows_as_its_unit(FormulaText& formula, const std::vector<Variable>& variables, Unit unit,
                       bool has_value) {
  const int degree = degree_of(unit);
  const auto found = growth(formula, variables, degree);
  if (!found) return tl::unexpected(found.error());
  if (found->finding)
    return fail("wrong_unit",
                (degree == 1  ? std::string("the formula does not grow as a length must: ")
                 : degree > 1 ? "the formula does not grow as " + std::string(unit.name()) + " must: "
                              : "the formula changes with the unit of the lengths: ") +
                    *found->finding,
                "formula",
                "let constants that are lengths be inputs with their unit, and add lengths to lengths only");
  if (found->looked_at == 0 && !has_value)
    return fail("bad_formula", "at none of the points that were tried does the formula have a value",
                "formula", "look at roots, divisions and inverse functions in it");
  return {};
}

}  // namespace

Done check_formula(std::string_view text, std::span<const Shape> shapes, Unit unit) {
  const auto variables = variables_of(shapes);
  if (!variables) return tl::unexpected(variables.error());
  auto formula = formula_of(text, *variables);
  if (!formula) return tl::unexpected(formula.error());
  return grows_as_its_unit(*formula, *variables, unit, false);
}

Expected<Derived> work_formula(std::string_view text, std::span<const Shape> shapes,
                               std::span<const Input> inputs, Unit unit) {
  const auto variables = variables_of(shapes);
  if (!variables) return tl::unexpected(variables.error());
  auto formula = formula_of(text, *variables);
  if (!formula) return tl::unexpected(formula.error());
  std::vector<double> values;
  Working working(unit);
  for (const auto& input : inputs)
    for (const auto& value : input.values) {
      working.exact((*variables)[values.size()].name, value);
      values.push_back(plain_number(value));
    }
  const auto found = formula->at(values);
  if (!found) return tl::unexpected(found.error());
  const bool finite = std::isfinite(*found);
  if (auto done = grows_as_its_unit(*formula, *variables, unit, finite); !done)
    return tl::unexpected(done.error());
  if (!finite)
    return fail("not_a_number",
                "the formula gives " + told(*found) + " with " + with_values(*variables, values), "formula",
                "look at the readings, and at roots and divisions in it");
  return of_double(Given(inputs, unit), *found, "formula", std::move(working));
}

}  // namespace tallystick::derive
