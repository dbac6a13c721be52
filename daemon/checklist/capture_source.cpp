#include "daemon/checklist/capture_source.hpp"

#include <algorithm>

namespace tallystick::checklist {
namespace {

constexpr int longest_ms = 600'000;  // of a whole capture (drivers/decode/capture.hpp)

void forbid(TomlTable& table, std::initializer_list<const char*> keys, const std::string& why,
            const std::string& remedy) {
  for (const char* key : keys) {
    if (!table.has(key)) continue;
    table.node(key);  // known, though not here
    table.fault(key, "contradiction", why, remedy);
  }
}

/// Ended by *good*, by time, or by turns: a time each as the checklist states it, since no index is sent.
void read_end(TomlTable& table, FeatureSource& feature) {
  feature.end_after_ms = table.whole("end_after_ms", 100, longest_ms, 0);
  feature.turns = table.whole("turns", 1, 100, 0);
  const int turn_ms = table.whole("turn_ms", 100, longest_ms, 0);
  if (table.has("end_after_ms") && (table.has("turns") || table.has("turn_ms")))
    table.fault("end_after_ms", "contradiction", "states its end in two ways",
                "keep end_after_ms, or turns with turn_ms");
  if (table.has("turns") != table.has("turn_ms"))
    table.fault(
        table.has("turns") ? "turns" : "turn_ms", "missing_key",
        "a number of turns and the time of one belong together",
        table.has("turns") ? "add turn_ms = 5000: how long one turn takes at the slowest" : "add turns = 1");
  if (feature.turns == 0 || turn_ms == 0) return;
  feature.end_after_ms = feature.turns * turn_ms;
  if (feature.end_after_ms > longest_ms)
    table.fault("turns", "out_of_range",
                "all turns together take " + std::to_string(feature.end_after_ms / 1000) + " s",
                "a capture may take 600 s at most");
}

}  // namespace

void read_capture(TomlTable& table, FeatureSource& feature) {
  const bool captured = feature.kind == "capture";
  if (captured)
    feature.capture = table.word("capture", {"now", "settled", "max", "min", "span", "sweep"}, "now");
  const std::string kind = feature.capture;
  if (kind.empty() || kind == "now") {
    forbid(table,
           {"movement", "window", "settle_ms", "end_after_ms", "turns", "turn_ms", "least_ms",
            "longest_gap_ms", "sweep_value"},
           captured ? "capture = \"now\" takes one frame, and nothing of a stream"
                    : "only a feature of kind \"capture\" is taken from a stream",
           captured ? "write capture = \"span\" (or settled, max, min, sweep), or take it out"
                    : "write kind = \"capture\", or take it out");
    return;
  }
  feature.longest_gap_ms = table.whole("longest_gap_ms", 20, 60'000, 1000);
  if (kind == "sweep")
    feature.capture_value = table.word("sweep_value", {"span", "max", "min", "mean"}, "span");
  else
    forbid(table, {"sweep_value"}, "only a sweep has a value to choose",
           "take it out: the value is the " + kind);
  if (kind == "settled") {
    forbid(table, {"end_after_ms", "turns", "turn_ms", "least_ms"},
           "a settled value ends the capture by itself", "take it out");
    feature.settle_ms = table.whole("settle_ms", 50, 60'000, 1000);
    if (!table.has("window") || !table.has("settle_ms"))
      table.fault("", "missing_key", "a settled value needs window and settle_ms",
                  "add window = \"0.002 mm\" and settle_ms = 1000: within so much of one another for so long");
    return;
  }
  forbid(table, {"window", "settle_ms"}, "only a settled value has a window",
         "write capture = \"settled\", or take it out");
  read_end(table, feature);
  feature.least_ms = table.whole("least_ms", 0, longest_ms,
                                 std::min(1000, feature.end_after_ms > 0 ? feature.end_after_ms : 1000));
  if (feature.end_after_ms > 0 && feature.least_ms > feature.end_after_ms)
    table.fault("least_ms", "contradiction", "it would end by itself before that",
                "write less than its end, or take it out");
}

Error capture_fault(const FeatureSource& source, const std::string& key, Quantity value,
                    const Limits& limits) {
  // An exception may state it for a feature that has no use for it.
  if (source.capture.empty() || source.capture == "now" || (key == "window" && source.capture != "settled"))
    return {"contradiction", key + " means nothing for this feature", "", "take it out"};
  if (value.count() <= 0)
    return {"out_of_range", key + " comes to " + value.text() + " " + std::string(value.unit().name()), "",
            "it must be above zero"};
  const bool span = source.capture == "span" || source.capture_value == "span";
  if (key == "movement" && span && limits.upper && value >= *limits.upper)
    return {"out_of_range",
            "movement comes to " + value.text() + ", the upper limit to " + limits.upper->text(), "",
            "write less than the limit: a good part never moves so far, and its capture would never begin"};
  return {};
}

}  // namespace tallystick::checklist
