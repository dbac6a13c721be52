// What is wrong with a configuration: every fault in one go, each where a person finds it and with what to
// do.
#pragma once

#include <boost/describe.hpp>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace tallystick::checklist {

/// A `fault` keeps the thing that it is about from being served; a `warning` is shown and changes nothing.
enum class Severity : std::uint8_t { fault, warning };
BOOST_DESCRIBE_ENUM(Severity, fault, warning)

struct Fault {
  Severity severity = Severity::fault;
  std::string file;    ///< as named in the configuration ("fb.family.toml"), empty: none
  int line = 0;        ///< from 1; 0: the file as a whole
  std::string place;   ///< key, column or feature: "feature bore, upper", "column bore_upper"
  std::string code;    ///< stable, for programs: "unknown_column"
  std::string what;    ///< what was found, and what was expected
  std::string remedy;  ///< what to do

  bool operator==(const Fault&) const = default;
};
BOOST_DESCRIBE_STRUCT(Fault, (), (severity, file, line, place, code, what, remedy))

/// "fb.family.toml:12: feature bore, upper: what (remedy)", a warning begins with "warning: ".
std::string text(const Fault& fault);
/// True where nothing worse than a warning stands.
bool sound(std::span<const Fault> faults);
/// By file and line, faults of one line in the order in which they were found.
void sort_by_place(std::vector<Fault>& faults);

/// The word of `known` that `word` may have been meant for (at most a third of its letters differ), or "".
std::string nearest(std::string_view word, std::span<const std::string> known);
/// `did you mean "x"?`, or else the known words; for remedies.
std::string did_you_mean(std::string_view word, std::span<const std::string> known);

}  // namespace tallystick::checklist
