// What `tallystick compute` can work out. A computation is data and two plain functions: a JSON object in, a
// JSON object or an Error out, and the answer in words. The command line only fills the same object from its
// arguments.
//
// What the table of derived features has (daemon/measure/derive.hpp) is here by itself. To add another: write it
// in a compute_<what>.cpp, declare it at the end, put it into `computations` in compute.cpp, and give it a block
// in compute_line.cpp where it has arguments of its own.
#pragma once

#include <boost/json.hpp>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/measure/quantity.hpp"
#include "tools/cli/commands.hpp"

namespace tallystick::cli {

struct Computation {
  std::string_view name, about;
  std::string_view example;  ///< an input that works; field names end in their unit, what is judged is a text
  Expected<boost::json::object> (*work)(const boost::json::object& input) = nullptr;
  std::string (*words)(const boost::json::object& answer) = nullptr;
  /// status::good, or status::no where the answer is a no.
  int (*status_of)(const boost::json::object& answer) = nullptr;
  bool derived = false;  ///< worked out by the table of derived features, under this name; `work` is not set
};

std::span<const Computation* const> computations();

struct ComputeOptions {
  const Computation* computation = nullptr;
  boost::json::object arguments;     ///< what the line gave
  std::optional<std::string> input;  ///< a file with the object instead; "-": standard input
  bool example = false, json = false;
};
int compute(const ComputeOptions& options, Streams streams);

struct ComputeListOptions {
  bool json = false;
};
int compute_list(const ComputeListOptions& options, Streams streams);

/// Reads the members of an input. The first fault stays, with the member's name as its place; after the last
/// member, `fault` tells it, or the first member that nobody asked for.
class InputFields {
 public:
  /// `place`: of the object within the whole input, as "sections[2]."; it stands before each name in a fault.
  explicit InputFields(const boost::json::object& input, std::string place = {})
      : input_(input), place_(std::move(place)) {}

  /// Errors "missing_field", "bare_number", "wrong_type".
  std::string text(std::string_view key);
  std::optional<std::string> optional_text(std::string_view key);
  Unit unit(std::string_view key, const std::string& name);
  Quantity quantity(std::string_view key, const std::string& text, Unit unit);
  /// A length, or an angle in degrees: the member's name says its unit.
  Quantity quantity(std::string_view key);
  std::optional<Quantity> optional_quantity(std::string_view key);
  /// The nearest double of a length in millimetres, of an angle in radians.
  double number(std::string_view key);
  std::optional<double> optional_number(std::string_view key);
  /// A list of texts. Error "wrong_type" where one is something else, "missing_field".
  std::vector<Quantity> quantities(std::string_view key);
  /// A list of objects, each with its place ("sections[2].").
  std::vector<std::pair<const boost::json::object*, std::string>> objects(std::string_view key);
  const boost::json::array* list(std::string_view key);
  /// Of an object inside this one: its first fault, or one of the names that nobody asked for there.
  void inner(InputFields& fields);
  /// Takes a result, its error under the member's name where it has no better place.
  template <class T>
  T taken(std::string_view key, Expected<T> result, T otherwise = {}) {
    if (result) return std::move(*result);
    note(std::move(result.error()), key);
    return otherwise;
  }
  std::optional<Error> fault();

 private:
  void note(Error error, std::string_view key);

  const boost::json::object& input_;
  std::string place_;
  std::vector<std::string> asked_;
  std::optional<Error> first_;
};

/// A member of an answer as it stands.
std::string word(const boost::json::object& answer, std::string_view key);
int always_good(const boost::json::object& answer);

extern const Computation convert_computation, verdict_computation;  // compute_values.cpp
extern const Computation fit_computation, general_computation;      // compute_limits.cpp
// compute_geometry.cpp
extern const Computation position_computation, coaxiality_computation, runout_computation,
    parallelism_computation, perpendicularity_computation;
// compute_form.cpp
extern const Computation sweep_computation, flatness_computation, straightness_computation,
    bolt_circle_computation;
// compute_handbook.cpp
extern const Computation over_wires_computation, over_balls_computation, dovetail_computation,
    sine_bar_computation, two_rolls_computation, two_balls_computation, taper_computation, arc_computation;
// compute_uncertainty.cpp
extern const Computation temperature_computation, budget_computation, decision_computation;

/// compute_derived.cpp: every derived feature's computation but those that have a richer one of the same name.
std::vector<Computation> derived_computations(std::span<const Computation* const> richer);
Expected<boost::json::object> derived_worked(std::string_view name, const boost::json::object& input);

/// Puts a length from floating point into an answer: `key`_mm as text at nanometres, what is judged, and
/// `key`_unrounded_mm as a number. Error "not_a_number", "overflow".
Done put_length(boost::json::object& out, const std::string& key, double millimetres);
/// Judges `value` against the tolerance of the input, where it has one: `verdict` and `by_mm`.
void put_verdict(boost::json::object& out, InputFields& fields, Quantity value,
                 const std::optional<Quantity>& tolerance);
/// One line a member, numbers and texts as they stand; what is_unrounded is left to --json.
std::string members_in_words(const boost::json::object& answer);
int status_of_answer(const boost::json::object& answer);

}  // namespace tallystick::cli
