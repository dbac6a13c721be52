// One size's checklist at one print revision, fully worked out: what is published, kept byte for byte, and walked.
#pragma once

#include <boost/describe.hpp>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/limits.hpp"
#include "daemon/measure/reduction.hpp"

namespace tallystick::checklist {

/// Readings of the same part that a derived feature draws on: all places of a feature in order, or one of them.
struct ReadingsOf {
  std::string feature;         ///< key of this edition
  std::string place;           ///< empty: all
  bool operator==(const ReadingsOf&) const = default;
};
BOOST_DESCRIBE_STRUCT(ReadingsOf, (), (feature, place))

/// One named input of a derived feature (daemon/measure/derive.hpp): readings, or what the print gives, or a word.
struct DerivedInput {
  std::string name;
  std::vector<ReadingsOf> readings;
  std::vector<std::string> values;   ///< exact decimals in `unit`
  std::string unit, word;
  bool operator==(const DerivedInput&) const = default;
};
BOOST_DESCRIBE_STRUCT(DerivedInput, (), (name, readings, values, unit, word))

/// One influence on a feature's uncertainty, as stated (daemon/measure/uncertainty.hpp).
struct BudgetLine {
  std::string name, amount;    ///< exact decimal in the feature's unit
  std::string distribution = "standard";
  std::string freedom;         ///< degrees of freedom; empty: infinitely many
  bool operator==(const BudgetLine&) const = default;
};
BOOST_DESCRIBE_STRUCT(BudgetLine, (), (name, amount, distribution, freedom))

/// How a derived feature is made: no step of its own, its result comes with the last reading that it draws on.
struct Derivation {
  std::string computation;     ///< name (daemon/measure/derive.hpp); empty: the feature is no derived one
  std::string formula;         ///< of the computation "formula"
  std::vector<DerivedInput> inputs;
  bool operator==(const Derivation&) const = default;
};
BOOST_DESCRIBE_STRUCT(Derivation, (), (computation, formula, inputs))

/// How sure a value is, and what is decided with that. Decimals in the feature's unit (of temperatures: its difference).
struct Certainty {
  std::string decision = "simple";   ///< "simple" | "stringent" (guard band: the expanded uncertainty)
  std::string uncertainty;           ///< expanded, exact; empty: not stated
  std::string standard_uncertainty;  ///< a plain decimal, nothing is judged by it
  std::string coverage_factor, freedom;  ///< as worked out; `freedom` empty: infinitely many
  std::vector<BudgetLine> budget;    ///< what it was worked out from; empty: stated as it is
  bool operator==(const Certainty&) const = default;
};
BOOST_DESCRIBE_STRUCT(Certainty, (), (decision, uncertainty, standard_uncertainty, coverage_factor, freedom, budget))

/// A finish to come: every stage but "after finish" is judged against limits moved by what it will add.
struct Finish {
  std::string build_up, build_up_spread;  ///< of one surface; empty: no finish
  int surfaces = 0;                       ///< across which the feature is measured
  std::string lower, upper;               ///< before it
  bool operator==(const Finish&) const = default;
};
BOOST_DESCRIBE_STRUCT(Finish, (), (build_up, build_up_spread, surfaces, lower, upper))

enum class StepKind : std::uint8_t { reading, capture, go, no_go, mating_check, look };
BOOST_DESCRIBE_ENUM(StepKind, reading, capture, go, no_go, mating_check, look)

/// A feature of an edition. A `count = 4` feature of the family stands here as four features (balloon "12.1" ...,
/// key "hole-1" ...), each judged by itself. A go / no-go plug stands as one feature with two members (see `members`).
struct Feature {
  std::string key;             ///< stable, [a-z0-9-]{1,40}
  std::string balloon;         ///< "3", "12.1"
  std::string name;            ///< "outside diameter"
  std::string kind;            ///< "reading" | "capture" | "derived" | "go_no_go" | "mating_check" | "look"
  std::string feature_class;   ///< "critical" | "major" | "minor"
  std::vector<std::string> stages;  ///< empty: every stage
  // measured features
  std::string unit;            ///< name of the print's unit; empty for looks and the like
  std::string nominal, lower, upper;                  ///< exact decimal text in `unit`; empty where none
  std::string plausible_lower, plausible_upper;       ///< always set for measured features (worked out)
  int decimals = 0;            ///< for display; never touches a limit
  std::string gauge_kind;
  std::vector<std::string> places;  ///< named places where a reading is taken; empty: one, unnamed
  std::string reduction = "each";
  std::string material;        ///< "outside" (too large leaves material to cut), "inside" (too small does), "" (neither)
  bool zero_plausible = false;
  std::string capture;         ///< for captures: "now" | "settled" | "max" | "min" | "span" | "sweep"
  // of captures but "now" (drivers/decode/capture.hpp); times in milliseconds
  std::string capture_value;   ///< of a sweep: "span" | "max" | "min" | "mean"
  std::string movement;        ///< in `unit`: it begins by itself at a movement farther than this; empty: at the action
  std::string window;          ///< in `unit`: of settled values
  int settle_ms = 0;           ///< of settled values: within the window for so long
  int end_after_ms = 0;        ///< it ends by itself so long after its begin; 0: by *good*
  int turns = 0;               ///< how many turns `end_after_ms` stands for; 0: it is a time
  int least_ms = 0;            ///< *good* ends it no sooner
  int longest_gap_ms = 0;      ///< between two samples; longer: its stream broke
  // words and pictures
  std::string method;          ///< "from above; part at rest, burr taken off"
  std::string question_good;   ///< members, checks and looks: the question, with the good answer named
  std::string question_no_go;  ///< the no-go member's question
  std::string tool;            ///< which kind of plug or mating part is stated once a walk; empty: none
  std::string edge;            ///< id of the drawing's edge across which the ruler stands; empty: beside the value
  std::string ruler;           ///< "up" | "down" | "left" | "right" | "radial": the way that more material points
  std::vector<std::string> before;  ///< keys of features that must come later than this one
  bool tells_sizes_apart = false;   ///< planned first
  std::string exception;       ///< why this size differs from its family here; empty: it does not
  bool unjudged = false;       ///< its readings serve derived features only: no limits, no verdict
  Derivation derivation;
  Certainty certainty;
  Finish finish;

  bool operator==(const Feature&) const = default;
};
BOOST_DESCRIBE_STRUCT(Feature, (), (key, balloon, name, kind, feature_class, stages, unit, nominal, lower, upper,
  plausible_lower, plausible_upper, decimals, gauge_kind, places, reduction, material, zero_plausible, capture, capture_value,
  movement, window, settle_ms, end_after_ms, turns, least_ms, longest_gap_ms, method,
  question_good, question_no_go, tool, edge, ruler, before, tells_sizes_apart,
  exception, unjudged, derivation, certainty, finish))

/// The bytes of an edition are `to_json_text(edition)`: members in this order, no blanks; its SHA-256 is over them.
struct Edition {
  int format = 1;
  std::string family, size, print_revision, part_number, title;
  std::int64_t number = 0;         ///< counted within family and size, from 1; not part of the worked-out content
  std::string drawing;             ///< SHA-256 of the SVG, empty: none
  std::string after_reject = "go_on";    ///< "go_on" | "end_part" | "stop_walk"
  std::string next_part = "by_itself";   ///< "by_itself" | "by_key"
  bool moves_allowed = true;
  int gauge_step_share = 5;        ///< a gauge's step is at most tolerance / this
  std::string walk_order = "by_part";   ///< "by_part" | "by_feature": a gauge goes round all parts of a tray
  int tray = 0;                    ///< slots of the tray, 2 to 60; 0: by part
  std::string judging = "absolute";     ///< "absolute" | "half_even" | "half_up": rounded to the limits' last place first
  std::vector<Feature> features;   ///< in checklist order

  bool operator==(const Edition&) const = default;
};
BOOST_DESCRIBE_STRUCT(Edition, (), (format, family, size, print_revision, part_number, title, number, drawing,
  after_reject, next_part, moves_allowed, gauge_step_share, walk_order, tray, judging, features))

std::string to_json_text(const Edition& edition);
Expected<Edition> edition_from(std::string_view json);
/// 64 hex digits.
std::string sha256_hex(std::string_view bytes);

/// The print's limits as Quantities; of a feature that is not judged its plausible range. Precondition: a feature with a
/// value, of a checked edition.
Expected<Limits> limits_of(const Feature& feature);

}  // namespace tallystick::checklist
