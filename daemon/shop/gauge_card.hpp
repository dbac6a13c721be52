// What the register says of a gauge, and whether it serves a feature.
#pragma once

#include <boost/describe.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/checklist/edition.hpp"
#include "daemon/measure/limits.hpp"

namespace tallystick::shop {

/// Setting on a master, for gauges that need it. Values are exact decimal text in the card's unit.
struct SettingRule {
  std::string master;          ///< id of the master ("ring-25"); empty: needs none
  std::string size;            ///< the master's own size: as marked, plus its calibrated deviation, "25.002"
  std::string limit;           ///< how far the as-found reading may lie from `size`, "0.002"
  double hours = 0;            ///< due after so many hours; 0: no such limit
  int parts = 0;               ///< due after so many parts; 0: no such limit
  std::vector<std::string> void_on = {"power"};  ///< of "power" "person" "restart" "port"
  double grace_minutes = 20;   ///< a part that was begun may be finished for so long
  std::string uncertainty;     ///< expanded, of that size: the reading must lie inside `limit` by so much; empty: 0
  std::string due;             ///< the master may not be used after that day, "2027-06-30"; empty: none
  std::string master_2, size_2, limit_2, uncertainty_2, due_2;  ///< a second one: set at two points; empty: at one
  std::string gain_limit;      ///< with two: how far the gain may lie from 1, "0.002"; empty: shown, not judged
  bool operator==(const SettingRule&) const = default;
};
BOOST_DESCRIBE_STRUCT(SettingRule, (), (master, size, limit, hours, parts, void_on, grace_minutes, uncertainty, due, master_2,
  size_2, limit_2, uncertainty_2, due_2, gain_limit))

/// One gauge of the register, as the configuration states it. Ids are [a-z0-9-]{1,40}, never used again.
struct GaugeCard {
  std::string id, name;        ///< "micrometer-25-50", "micrometer 25-50"
  std::string kind;            ///< "outside-micrometer", "bore-gauge", ... free, held against the checklists
  std::string bench, port, channel;  ///< channel empty: the port has but one gauge
  std::string dialect;         ///< name of the dialect
  std::string unit;            ///< what it shows: "mm", "in", ...
  std::string range_lower, range_upper;  ///< of sizes that it can measure, in `unit`
  std::string resolution;      ///< its step, in `unit`
  std::string reads = "size";  ///< "size" | "difference" (value = master size + reading)
  std::string speaks = "pushed";     ///< "pushed" | "asked" | "streams"
  SettingRule setting;
  bool may_be_used = true;     ///< the lead's word
  std::string why_not;         ///< shown where it may not
  double look_time_s = 0.4;    ///< a press earlier than this after the step was told does not count
  double look_time_after_reject_s = 2.0;
  double repeat_window_s = 0.3;  ///< the same value again within it is a duplicate
  std::vector<std::string> also_units;  ///< units that a key of it switches to; its frames then say which
  bool unit_fixed = false;       ///< nothing switches its unit, so a frame without one needs no doubt

  bool operator==(const GaugeCard&) const = default;
};
BOOST_DESCRIBE_STRUCT(GaugeCard, (), (id, name, kind, bench, port, channel, dialect, unit, range_lower, range_upper,
  resolution, reads, speaks, setting, may_be_used, why_not, look_time_s, look_time_after_reject_s, repeat_window_s,
  also_units, unit_fixed))

/// Whether a gauge, by its card alone, serves a feature: kind, range, unit, resolution at most tolerance / share
/// (one-sided: of the limit's distance to the plausible end), master within reach for gauges that read differences,
/// its bench, the lead's word. Unit: one of the gauge's is written exactly in the feature's (inches in millimetres
/// are, millimetres in inches are not: such a value would have no end of digits on the print). Empty when it does, else the first reason as a stable code: "wrong_kind",
/// "out_of_range", "wrong_unit", "too_coarse", "other_bench", "may_not_be_used".
std::string why_not_served(const GaugeCard& card, const checklist::Feature& feature, int gauge_step_share,
                           std::string_view bench);

}  // namespace tallystick::shop
