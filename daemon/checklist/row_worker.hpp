// One row of the size table -> one edition. Inside this room only.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "daemon/checklist/family.hpp"
#include "daemon/checklist/family_source.hpp"
#include "daemon/checklist/size_table.hpp"
#include "daemon/measure/derive.hpp"

namespace tallystick::checklist {

/// Something wrong with one feature of one size. Whether the row or the feature is to blame shows only when
/// all rows are worked out.
struct Finding {
  std::string feature, key, code, what, remedy;
  int key_line = 0;  ///< in the family's file
  std::string size;
  int row_line = 0;  ///< in the size table
};

class RowWorker {
 public:
  /// `cells` holds every declared column of the row; one that could not be read is missing.
  RowWorker(const FamilySource& family, const SizeTable& table, const SizeRow& row,
            std::map<std::string, Cell> cells, std::optional<Unit> print_unit);

  WorkedSize work_out();
  /// Keys of the features that exist on this size.
  const std::vector<std::string>& present() const { return present_; }
  std::vector<Finding> findings;

 private:
  struct Worked;  // a feature's values
  void add_feature(const FeatureSource& source);
  bool exists(const FeatureSource& source);
  Feature words_of(const FeatureSource& source, int place);
  bool set_values(const FeatureSource& source, const Formulas& formulas, const LimitSymbols& symbols,
                  int place, Feature& feature);
  bool refused(const FeatureSource& source, const std::string& key, const Error& error, int line = 0) {
    find(source, key, error, line);
    return false;
  }
  Expected<Limits> limits_from(const FeatureSource& source, const Formulas& formulas,
                               const LimitSymbols& symbols, Unit unit);
  Expected<Limits> limits_by_symbol(const Formulas& formulas, const LimitSymbols& symbols,
                                    std::optional<Quantity> stated, Unit unit);
  bool set_capture(const FeatureSource& source, const Formulas& formulas, const Limits& limits, Unit unit,
                   Feature& feature);
  // row_derived.cpp
  bool set_derived(const FeatureSource& source, int place, Unit unit, Feature& feature);
  bool set_readings(const FeatureSource& source, int place, Feature& feature, std::vector<derive::Shape>& shapes);
  bool set_given(const FeatureSource& source, Feature& feature, std::vector<derive::Shape>& shapes);
  std::vector<ReadingsOf> readings_of(const std::string& text, int place) const;
  bool set_shape(const FeatureSource& source, const std::vector<ReadingsOf>& readings, derive::Shape& shape);
  // row_judging.cpp
  bool set_judging(const FeatureSource& source, const Formulas& formulas, const Limits& limits, Unit unit, Feature& feature);
  bool set_budget(const FeatureSource& source, Unit unit, Feature& feature);
  bool set_finish(const FeatureSource& source, const Formulas& formulas, const Limits& limits, Unit unit, Feature& feature);
  bool set_plausible(const FeatureSource& source, const Formulas& formulas, const Limits& limits, Unit unit,
                     int decimals, Feature& feature);
  Expected<std::optional<Quantity>> formula(const Formulas& formulas, const std::string& key, Unit unit);
  void find(const FeatureSource& source, const std::string& key, const Error& error, int line = 0);
  std::vector<std::string> counted(const std::vector<std::string>& keys) const;

  const FamilySource& family_;
  const SizeTable& table_;
  const SizeRow& row_;
  std::map<std::string, Cell> cells_;
  std::map<std::string, std::string> texts_;
  std::optional<Unit> print_unit_;
  Columns columns_;
  WorkedSize worked_;
  std::vector<std::string> present_;
};

}  // namespace tallystick::checklist
