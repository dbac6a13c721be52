// How a computation is written down inside this room: its inputs, what stands beside them, and the function
// that works it out. derive.cpp holds the table, derive_<kind>.cpp the functions; nothing outside includes
// this.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/derive.hpp"

namespace tallystick::derive {

/// What an input may be; `any`: any value, but all of a computation's `any` inputs of one dimension.
enum class Kind : std::uint8_t {
  any,
  length,
  angle,
  number,
  temperature,
  temperature_difference,
  sweep,
  word
};
std::string_view name(Kind kind);

/// An input of a computation; `name` as it is listed: "x..." is a list, "starts?" may be missing,
/// "readings...?" both.
struct Slot {
  std::string_view name;
  Kind kind = Kind::length;
  std::size_t least = 1;  ///< of values, where it is there

  bool optional() const { return name.ends_with("?"); }
  bool list() const { return name.find("...") != std::string_view::npos; }
  std::string_view bare() const { return name.substr(0, name.find_first_of(".?")); }
};

/// The inputs that were given, by name. They fit their computation: `check` has been passed before one is
/// made.
class Given {
 public:
  Given(std::span<const Input> inputs, Unit wanted) : inputs_(inputs), unit(wanted) {}

  bool has(std::string_view name) const { return find(name) != nullptr; }
  /// Precondition for all of these: it is there, and of that kind.
  const std::vector<Quantity>& values(std::string_view name) const { return find(name)->values; }
  Quantity value(std::string_view name) const { return find(name)->values.front(); }
  const std::vector<SweepFigures>& sweeps(std::string_view name) const { return find(name)->sweeps; }
  const std::string& word(std::string_view name) const { return find(name)->word; }
  /// In the room's plain unit: millimetres, radians, degrees Celsius, kelvin of a difference, the number
  /// itself.
  double number(std::string_view name) const;
  std::vector<double> numbers(std::string_view name) const;

 private:
  const Input* find(std::string_view name) const;
  std::span<const Input> inputs_;

 public:
  Unit unit;  ///< of the result
};

struct Row {
  std::string_view name, about, result, source, working;
  std::vector<Slot> slots;
  Expected<Derived> (*work)(const Given& given) = nullptr;
  /// What the slots alone do not say: inputs that exclude each other, lists that are equally long.
  Done (*agree)(std::span<const Shape> shapes) = nullptr;
  /// The result of `any` inputs is a difference of them (temperatures).
  bool of_difference = false;
};

std::vector<Row> plain_rows();        // derive_plain.cpp
std::vector<Row> handbook_rows();     // derive_handbook.cpp
std::vector<Row> turned_rows();       // derive_turned.cpp
std::vector<Row> place_rows();        // derive_places.cpp
std::vector<Row> bolt_circle_rows();  // derive_bolt_circle.cpp
std::vector<Row> temperature_rows();  // derive_temperature.cpp

/// The formula (derive_formula.cpp); `work_formula` checks besides, and `shapes` are those of `inputs`.
Done check_formula(std::string_view formula, std::span<const Shape> shapes, Unit unit);
Expected<Derived> work_formula(std::string_view formula, std::span<const Shape> shapes,
                               std::span<const Input> inputs, Unit unit);

const Shape* shape_named(std::span<const Shape> shapes, std::string_view name);
/// Error "wrong_number_of_values": both are lists of the same points.
Done equally_many(std::span<const Shape> shapes, std::string_view a, std::string_view b);

double plain_number(Quantity value);
/// The nearest count, half to even. Errors "not_a_number", "overflow".
Expected<Quantity> quantity_of(double plain, Unit unit);
/// Shortest plain decimal that reads back as the same double.
std::string shortest(double number);

/// Builds the working, line by line.
class Working {
 public:
  explicit Working(Unit unit) : unit_(unit) {}
  Working& exact(std::string_view name,
                 Quantity value);  ///< in the result's unit where it can be written there
  Working& length(std::string_view name, double millimetres);
  Working& angle(std::string_view name, double radians);  ///< shown in degrees
  Working& number(std::string_view name, double value);
  Working& count(std::string_view name, std::size_t value);
  std::vector<Line> lines;

 private:
  Unit unit_;
};

/// A result of exact arithmetic. Error "wrong_unit".
Expected<Derived> of_exact(const Given& given, Quantity value, Working working);
/// A result of floating point; its error at `place`.
Expected<Derived> of_double(const Given& given, double plain, std::string_view place, Working working);

/// The same error, at an input.
tl::unexpected<Error> at(Error error, std::string_view input);

}  // namespace tallystick::derive
