// A dialect's reading side, compiled: one whole frame in, its reading or the reason for refusing it out. Pure
// and without allocation on the good path; immutable, may be shared by threads.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "drivers/decode/binary_body.hpp"
#include "drivers/decode/checksum.hpp"
#include "drivers/decode/dialect.hpp"
#include "drivers/decode/fields.hpp"
#include "drivers/decode/number.hpp"
#include "drivers/decode/numeric_reply.hpp"
#include "drivers/decode/reading.hpp"
#include "drivers/decode/scan_plan.hpp"

namespace re2 {
class RE2;
}

namespace tallystick::decode {

/// A part of a frame of fixed columns, counted from 0 at the body's first byte.
struct Column {
  std::size_t at = 0;
  std::size_t width = 0;
};

/// A body of fixed width. Places that belong to no column and no literal must be blanks.
struct Columns {
  std::size_t width = 0;
  std::array<std::optional<Column>, field_count> parts{};
  std::vector<std::pair<std::size_t, std::string>> literals;
};

/// What a plan is made of. `body` below is the frame without start, end and checksum.
struct PlanSource {
  Framing framing;
  std::string pattern;  ///< of the body; empty where `columns` or `binary` is set
  std::optional<Columns> columns;
  std::optional<BinaryLayout> binary;
  std::optional<NumericReply> numbers;  ///< instead of pattern and columns
  NumberForm number;
  std::optional<Unit> unit;  ///< stands in where the frame carries none
  bool unit_in_frame = false;
  std::map<std::string, Unit> unit_map;
  /// Digits behind a mark that is not sent, where they differ by the unit sent; by the unit's name.
  std::map<std::string, int> decimals_by_unit;
  std::map<std::string, GaugeStatus> status_map;
  std::vector<std::string> no_value;  ///< texts of the value that mean "nothing measured"
  std::optional<Checksum> checksum;
};

/// What one frame says; `channel` points into the frame, or to a text that lives for ever.
struct Parsed {
  Quantity quantity;
  NumberText value;
  std::optional<std::string_view> channel;
  bool unit_in_frame = false;
  GaugeStatus status = GaugeStatus::ok;

  Decoded decoded() const;
};

class Plan {
 public:
  /// Error "bad_pattern": not a pattern, a group that is none of value, sign, unit, channel, status, or no
  /// value group.
  static Expected<std::shared_ptr<const Plan>> compile(PlanSource source);
  ~Plan();

  /// Reads one whole frame. Nothing: `out` is filled; else why the frame is refused.
  std::optional<Refusal> read(std::string_view frame, Parsed& out) const;

  bool has(Field field) const;  ///< pattern, columns or numbers have this part
  bool uses_regular_expression() const { return expression_ != nullptr; }
  bool checks_itself() const { return source_.checksum.has_value(); }

 private:
  explicit Plan(PlanSource source);
  std::optional<Refusal> find_body(std::string_view frame, std::string_view& body) const;
  bool find_plain_body(std::string_view frame, std::string_view& body) const;
  bool find_plain_status(const Fields& fields, GaugeStatus& status) const;
  bool find_fields(std::string_view body, Fields& fields) const;
  bool find_columns(std::string_view body, Fields& fields) const;
  bool find_in_numbers(std::string_view body, Fields& fields) const;
  bool find_by_expression(std::string_view body, Fields& fields) const;
  std::optional<Refusal> read_status(const Fields& fields, Parsed& out) const;
  /// How a value of one unit is read.
  struct Scale {
    UnitScale scale;
    int implied_decimals;
  };
  Scale scale_of(Unit unit) const;
  const Scale* scale_for(const Fields& fields, Parsed& out) const;

  PlanSource source_;
  std::optional<ScanPlan> scan_;
  std::optional<BinaryBody> binary_;
  std::unique_ptr<re2::RE2> expression_;
  std::vector<std::optional<Field>> expression_groups_;
  std::array<bool, field_count> named_{};
  std::vector<std::size_t> blanks_;  ///< columns: places that must be blanks
  struct NamedColumn {
    Field field;
    bool padded;   ///< with blanks, which are no part of it
    Column column;
  };
  std::vector<NamedColumn> columns_;
  /// Status by its only byte, where all are of one; -1: none.
  std::array<std::int8_t, 256> status_of_byte_{};
  bool statuses_of_one_byte_ = false;
  std::optional<Scale> own_scale_;
  std::vector<std::pair<std::string, Scale>> scales_;
};

}  // namespace tallystick::decode
