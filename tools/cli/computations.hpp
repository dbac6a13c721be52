// What `tallystick compute` can work out. A computation is data and two plain functions: a JSON object in, a
// JSON object or an Error out, and the answer in words. The command line only fills the same object from its
// arguments.
//
// To add one: write it in a compute_<what>.cpp, declare it at the end, put it into `computations` in
// compute.cpp, and give it a block in compute_line.cpp where it has arguments of its own.
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
  Expected<boost::json::object> (*work)(const boost::json::object& input);
  std::string (*words)(const boost::json::object& answer);
  /// status::good, or status::no where the answer is a no.
  int (*status_of)(const boost::json::object& answer);
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
  explicit InputFields(const boost::json::object& input) : input_(input) {}

  /// Errors "missing_field", "bare_number", "wrong_type".
  std::string text(std::string_view key);
  std::optional<std::string> optional_text(std::string_view key);
  Unit unit(std::string_view key, const std::string& name);
  Quantity quantity(std::string_view key, const std::string& text, Unit unit);
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
  std::vector<std::string> asked_;
  std::optional<Error> first_;
};

/// A member of an answer as it stands.
std::string word(const boost::json::object& answer, std::string_view key);
int always_good(const boost::json::object& answer);

extern const Computation convert_computation, verdict_computation;  // compute_values.cpp
extern const Computation fit_computation, general_computation;      // compute_limits.cpp

}  // namespace tallystick::cli
