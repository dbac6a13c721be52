// The table, the check before anything is measured, the dispatch.
#include "daemon/measure/derive.hpp"

#include <algorithm>

#include "daemon/measure/derive_parts.hpp"
#include "daemon/measure/proposal.hpp"

namespace tallystick::derive {
namespace {

constexpr std::string_view formula_name = "formula";

Row formula_row() {
  Row row;
  row.name = formula_name;
  row.about = "Arithmetic and functions over named readings";
  row.result = "any";
  row.source = "as the print or the shop states it";
  row.working = "the formula itself; lengths in mm, angles in radians, temperatures in degrees Celsius";
  return row;
}

std::vector<Row> all_rows() {
  std::vector<Row> out = {formula_row()};
  for (const auto& rows :
       {plain_rows(), handbook_rows(), turned_rows(), place_rows(), bolt_circle_rows(), temperature_rows()})
    out.insert(out.end(), rows.begin(), rows.end());
  std::sort(out.begin(), out.end(), [](const Row& a, const Row& b) { return a.name < b.name; });
  return out;
}

const std::vector<Row>& table() {
  static const std::vector<Row> rows = all_rows();
  return rows;
}

std::vector<Computation> listed() {
  std::vector<Computation> out;
  for (const auto& row : table()) {
    Computation one{row.name, row.about, row.result, row.source, row.working, {}, {}};
    for (const auto& slot : row.slots) {
      one.inputs.push_back(slot.name);
      one.kinds.push_back(name(slot.kind));
    }
    out.push_back(std::move(one));
  }
  return out;
}

Expected<const Row*> row_named(std::string_view name) {
  const auto& rows = table();
  const auto found = std::find_if(rows.begin(), rows.end(), [&](const Row& row) { return row.name == name; });
  if (found != rows.end()) return &*found;
  std::vector<std::string_view> known;
  for (const auto& row : rows) known.push_back(row.name);
  return fail("unknown_word", "there is no computation " + quoted(name), "computation",
              proposal_of(name, known));
}

std::string_view words_of(Dimension dimension) {
  switch (dimension) {
    case Dimension::length:
      return "a length";
    case Dimension::angle:
      return "an angle";
    case Dimension::temperature:
      return "a temperature";
    case Dimension::temperature_difference:
      return "a difference of temperatures";
    case Dimension::scalar:
      break;
  }
  return "a number";
}

std::optional<Dimension> dimension_of(std::string_view kind) {
  if (kind == "length") return Dimension::length;
  if (kind == "angle") return Dimension::angle;
  if (kind == "number") return Dimension::scalar;
  if (kind == "temperature") return Dimension::temperature;
  if (kind == "temperature_difference") return Dimension::temperature_difference;
  return {};
}

std::string_view found_in(const Shape& shape) {
  if (shape.sweep) return "a sweep";
  return shape.word.empty() ? words_of(shape.unit.dimension()) : "a word";
}

Done kind_fits(const Slot& slot, const Shape& shape) {
  const auto wrong = [&](std::string_view wanted, const char* hint) -> Done {
    return fail("wrong_unit", std::string(wanted) + " is needed, not " + std::string(found_in(shape)),
                shape.name, hint);
  };
  if (slot.kind == Kind::sweep && !shape.sweep)
    return wrong("a sweep", "take a feature that is measured by a sweep of an indicator over a turn");
  if (slot.kind == Kind::word && shape.word.empty()) return wrong("a word", "write the name in quotes");
  if (slot.kind == Kind::sweep || slot.kind == Kind::word) return {};
  const auto wanted = dimension_of(name(slot.kind));
  if (shape.sweep || !shape.word.empty())
    return wrong(wanted ? words_of(*wanted) : "a value", "take a reading, or a constant with its unit");
  if (wanted && shape.unit.dimension() != *wanted)
    return wrong(words_of(*wanted), "look at the unit of the feature or of the constant");
  return {};
}

Done count_fits(const Slot& slot, const Shape& shape) {
  const bool word = slot.kind == Kind::word;
  const auto count = word ? 1 : shape.count;
  if (count < slot.least)
    return fail("too_few_points",
                std::to_string(count) +
                    (count == 1 ? " value is given, at least " : " values are given, at least ") +
                    std::to_string(slot.least) + (slot.least == 1 ? " is needed" : " are needed"),
                shape.name, "take more readings");
  if (!slot.list() && count > 1)
    return fail("wrong_number_of_values",
                "one value is taken here, and " + std::to_string(count) + " are given", shape.name,
                "name one reading, or make one of them first (mean, median, greatest, ...)");
  return {};
}

Done names_are_known(const Row& row, std::span<const Shape> shapes) {
  for (std::size_t n = 0; n < shapes.size(); ++n) {
    const auto& shape = shapes[n];
    if (shape_named(shapes.first(n), shape.name) != nullptr)
      return fail("contradiction", "the input is given twice", shape.name, "keep one of both");
    const auto slot = std::find_if(row.slots.begin(), row.slots.end(),
                                   [&](const Slot& one) { return one.bare() == shape.name; });
    if (slot == row.slots.end()) {
      std::vector<std::string_view> known;
      for (const auto& one : row.slots) known.push_back(one.bare());
      return fail("unknown_name", std::string(row.name) + " has no input " + quoted(shape.name), shape.name,
                  proposal_of(shape.name, known));
    }
    if (auto done = kind_fits(*slot, shape); !done) return done;
  }
  return {};
}

Done inputs_are_there(const Row& row, std::span<const Shape> shapes) {
  for (const auto& slot : row.slots) {
    const auto* shape = shape_named(shapes, slot.bare());
    if (shape == nullptr && !slot.optional())
      return fail("missing_field", std::string(row.name) + " needs an input " + quoted(slot.bare()),
                  std::string(slot.bare()), "name the reading or the constant that it is");
    if (shape == nullptr) continue;
    if (auto done = count_fits(slot, *shape); !done) return done;
  }
  return {};
}

/// All inputs of kind `any` are convertible to each other, and the result is what they are.
Done unit_fits(const Row& row, std::span<const Shape> shapes, Unit unit) {
  const auto wrong = [&](std::string_view wanted) -> Done {
    return fail("wrong_unit",
                "the result is " + std::string(wanted) + ", and its unit " + std::string(unit.name()) +
                    " is " + std::string(words_of(unit.dimension())),
                "unit", "state the unit of the result");
  };
  if (row.result != "any") {
    const auto wanted = dimension_of(row.result);
    if (unit.dimension() != wanted) return wrong(words_of(*wanted));
    if (*wanted == Dimension::scalar && unit.name() != "ratio")
      return fail("wrong_unit", "the result is a ratio, not " + std::string(unit.name()), "unit",
                  "write \"ratio\"");
    return {};
  }
  const Shape* first = nullptr;
  for (const auto& slot : row.slots) {
    const auto* shape = shape_named(shapes, slot.bare());
    if (shape == nullptr || slot.kind != Kind::any) continue;
    if (first == nullptr) first = shape;
    if (!convertible(first->unit, shape->unit))
      return fail("wrong_unit",
                  "a value in " + std::string(shape->unit.name()) + " does not go together with one in " +
                      std::string(first->unit.name()),
                  shape->name, "all inputs must measure the same thing");
  }
  if (first == nullptr) return {};
  const auto result = row.of_difference ? difference_unit(first->unit) : first->unit;
  if (!convertible(result, unit)) return wrong(words_of(result.dimension()));
  return {};
}

Done check_row(const Row& row, std::string_view formula, std::span<const Shape> shapes, Unit unit) {
  if (row.name == formula_name) return check_formula(formula, shapes, unit);
  if (!formula.empty())
    return fail("bad_formula", std::string(row.name) + " takes no formula", "formula",
                "leave it out, or use the computation \"formula\"");
  if (auto done = names_are_known(row, shapes); !done) return done;
  if (auto done = inputs_are_there(row, shapes); !done) return done;
  if (row.agree != nullptr)
    if (auto done = row.agree(shapes); !done) return done;
  return unit_fits(row, shapes, unit);
}

/// What the inputs look like; values of one input that do not go together are found here.
Expected<std::vector<Shape>> shapes_of(std::span<const Input> inputs) {
  std::vector<Shape> out;
  for (const auto& input : inputs) {
    const int ways =
        (input.values.empty() ? 0 : 1) + (input.sweeps.empty() ? 0 : 1) + (input.word.empty() ? 0 : 1);
    if (ways == 0) return fail("missing_field", "there is no value", input.name, "measure it, or state it");
    if (ways > 1)
      return fail("contradiction", "values, sweeps and a word exclude each other", input.name,
                  "keep one of them");
    Shape shape;
    shape.name = input.name;
    shape.word = input.word;
    shape.sweep = !input.sweeps.empty();
    if (shape.sweep) shape.count = input.sweeps.size();
    if (!input.values.empty()) {
      shape.count = input.values.size();
      shape.unit = input.values.front().unit();
      for (const auto& value : input.values)
        if (!convertible(value.unit(), shape.unit))
          return fail("wrong_unit",
                      "a value in " + std::string(value.unit().name()) +
                          " does not go together with one in " + std::string(shape.unit.name()),
                      input.name, "all values of an input must measure the same thing");
    }
    out.push_back(std::move(shape));
  }
  return out;
}

}  // namespace

std::span<const Computation> computations() {
  static const std::vector<Computation> list = listed();
  return list;
}

Expected<const Computation*> computation_named(std::string_view name) {
  if (const auto row = row_named(name); !row) return tl::unexpected(row.error());
  for (const auto& one : computations())
    if (one.name == name) return &one;
  return fail("unknown_word", "there is no computation " + quoted(name), "computation");
}

Done check(std::string_view computation, std::string_view formula, std::span<const Shape> inputs, Unit unit) {
  const auto row = row_named(computation);
  if (!row) return tl::unexpected(row.error());
  return check_row(**row, formula, inputs, unit);
}

Expected<Derived> derive(std::string_view computation, std::string_view formula,
                         std::span<const Input> inputs, Unit unit) {
  const auto row = row_named(computation);
  if (!row) return tl::unexpected(row.error());
  const auto shapes = shapes_of(inputs);
  if (!shapes) return tl::unexpected(shapes.error());
  if ((*row)->name == formula_name) return work_formula(formula, *shapes, inputs, unit);
  if (auto done = check_row(**row, formula, *shapes, unit); !done) return tl::unexpected(done.error());
  return (*row)->work(Given(inputs, unit));
}

}  // namespace tallystick::derive
