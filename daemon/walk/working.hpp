// How a derived result was made: what stands in a fact's `working`, and all that is needed to make it again. Pure.
#pragma once

#include "daemon/walk/captured.hpp"
#include "daemon/walk/prepared.hpp"

namespace tallystick::walk {

/// One named input with what it was: exact decimals in `unit`, figures of sweeps, or a word.
struct WorkedInput {
  std::string name;
  std::vector<std::string> of;       ///< readings: "key" or "key / place"; empty: given by the print
  std::vector<std::string> readings; ///< keys of their events, "this" for the one that the fact belongs to
  std::vector<std::string> values, units;   ///< units: one for each value
  std::vector<derive::SweepFigures> sweeps;
  std::string word;
  bool operator==(const WorkedInput&) const = default;
};
BOOST_DESCRIBE_STRUCT(WorkedInput, (), (name, of, readings, values, units, sweeps, word))

struct Working {
  std::string computation, formula;
  std::vector<WorkedInput> inputs;
  std::vector<derive::Line> steps;   ///< intermediate numbers, in the order in which they were worked out
  std::string unrounded;             ///< the double as text: millimetres, radians or a plain number
  std::string error, why;            ///< it could not be worked out: code and words
  bool operator==(const Working&) const = default;
};
BOOST_DESCRIBE_STRUCT(Working, (), (computation, formula, inputs, steps, unrounded, error, why))

std::string to_json_text(const Working& working);
/// Error "wrong_shape".
Expected<Working> working_from(std::string_view json);
/// The inputs as the computation takes them. Errors: those of reading values.
Expected<std::vector<derive::Input>> inputs_of(const Working& working);

/// A value with its verdict as a fact writes them: all in one unit.
struct JudgedTexts {
  std::string value, unit, nominal, lower, upper, verdict, side, by, uncertainty, conformance;
};
/// In the print's unit where that can write the value exactly, else in the value's own.
JudgedTexts judged_texts(const checklist::Feature& feature, const PreparedFeature& prepared, const std::string& stage,
                         Quantity value, const Judgement& judgement);

/// What the attempts of a derived feature's readings come to: filled in with everything but `value` where it could not be
/// worked out.
struct WorkedOut {
  Working working;
  std::optional<Quantity> value;
};
WorkedOut work_out(const checklist::Feature& feature, const PreparedFeature& prepared, Working working);

/// The figures of a kept sweep over `turns` turns.
derive::SweepFigures sweep_figures_of(const CaptureKept& kept, double turns);

}  // namespace tallystick::walk
