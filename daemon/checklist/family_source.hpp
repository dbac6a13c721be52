// A family as its file says it, before any size is worked out. Inside this room only.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/checklist/expression.hpp"
#include "daemon/checklist/fault.hpp"
#include "daemon/checklist/toml_reader.hpp"

namespace tallystick::checklist {

struct Formula {
  int line = 0;
  Expression expression;
};
using Formulas = std::map<std::string, Formula>;  ///< by key: "nominal", "lower", ...

/// The keys whose formulas together state the limits; an exception that states one of them, or a symbol, replaces them
/// all.
inline const std::vector<std::string> limit_keys = {"lower", "upper", "plus_minus", "lower_deviation",
                                                    "upper_deviation"};

/// Limits by a symbol of the print instead of formulas: `fit = "H7"` (ISO 286), `general = "m"` (ISO 2768-1). Texts may
/// name columns: "{bore_fit}".
struct LimitSymbols {
  std::string fit, js_odd, general, general_kind;
  int line = 0;

  bool any() const { return !fit.empty() || !general.empty(); }
};

/// What a derived feature says of itself.
struct DerivedSource {
  struct Readings {
    std::string name;
    std::vector<std::string> of;       ///< "key" or "key / place"; may name {n}
    int line = 0;
  };
  struct Given {
    std::string name;
    std::vector<Formula> values;
  };
  std::string computation, formula;
  int line = 0;
  std::vector<Readings> from;
  std::vector<Given> given;
  std::vector<std::pair<std::string, std::string>> words;  ///< may name columns
};

struct BudgetSource {
  std::string name, distribution, freedom;
  Formula amount;
};

struct FeatureSource {
  int line = 0;
  std::string key, balloon, name, kind, feature_class;
  std::vector<std::string> stages;
  std::string unit;                     ///< "print": the row's
  std::map<std::string, int> decimals;  ///< by unit; "" for all units
  Formulas formulas;
  LimitSymbols symbols;
  std::optional<Formula> only_if;
  std::string gauge_kind, reduction, material, capture, capture_value, method, question, question_no_go, tool, edge, ruler;
  std::vector<std::string> places, before;
  int count = 1;
  int settle_ms = 0, end_after_ms = 0, turns = 0, least_ms = 0, longest_gap_ms = 0;  ///< of a capture
  std::optional<DerivedSource> derived;
  std::vector<BudgetSource> budget;
  std::string decision, coverage_factor;   ///< "": the family's; "": 2
  int surfaces = 0;                        ///< of a finish
  bool zero_plausible = false, tells_sizes_apart = false, judged = true;
  bool sound = true;  ///< false: told already, so it is not worked out

  bool measured() const { return kind == "reading" || kind == "capture"; }
  bool has_value() const { return measured() || kind == "derived"; }
};

/// What one size does otherwise, and why.
struct ExceptionSource {
  int line = 0;
  std::vector<std::string> sizes;
  std::string feature, why, gauge_kind;
  Formulas formulas;
  LimitSymbols symbols;
};

struct FamilySource {
  std::string key, title, table_file, drawing_file;
  std::string print_unit;  ///< empty: the size table has a column print_unit
  std::string after_reject, next_part, order;
  std::string judging = "absolute", decision = "simple";
  bool moves_allowed = true;
  int gauge_step_share = 5, plausible_widths = 5;
  int tray = 0;                ///< slots; 0: by part
  std::map<std::string, std::string> columns;  ///< declared: unit's name, "print", "number" or "text"
  std::map<std::string, int> column_lines;
  std::vector<FeatureSource> features;
  std::vector<ExceptionSource> exceptions;
};

/// Columns that every size table has and nobody declares.
bool is_key_column(std::string_view column);

/// Everything that the file alone can tell to be wrong goes to the text's faults.
FamilySource read_family_source(const TomlText& text);

/// Replaces each "{name}" by `value(name)`. An unknown name is left and added to `unknown`.
std::string filled_in(const std::string& text, const std::map<std::string, std::string>& values,
                      std::vector<std::string>& unknown);

}  // namespace tallystick::checklist
