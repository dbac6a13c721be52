// A small invented family for the tests of the walk: flanged bushings "fb" in two sizes alike but for their
// length, and one with its print in inches. Not read from the configuration: what a test says of a limit
// stands here.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "tests/walk/rig.hpp"

namespace tallystick::rig {

using checklist::Edition;
using checklist::Feature;

inline Feature measured(const std::string& key, const std::string& balloon, const std::string& lower,
                        const std::string& upper, const std::string& plausible_lower,
                        const std::string& plausible_upper, const std::string& gauge_kind) {
  Feature out;
  out.key = key;
  out.balloon = balloon;
  out.name = key;
  out.kind = "reading";
  out.feature_class = "major";
  out.unit = "mm";
  out.lower = lower;
  out.upper = upper;
  out.plausible_lower = plausible_lower;
  out.plausible_upper = plausible_upper;
  out.decimals = 3;
  out.gauge_kind = gauge_kind;
  return out;
}

inline Feature asked_for(const std::string& key, const std::string& balloon, const std::string& kind,
                         const std::string& tool = "") {
  Feature out;
  out.key = key;
  out.balloon = balloon;
  out.name = key;
  out.kind = kind;
  out.feature_class = "minor";
  out.question_good = "as it should be?";
  out.question_no_go = "stops?";
  out.tool = tool;
  return out;
}

/// Every feature that a test may ask for, of the size with this length.
inline std::vector<Feature> all_features(const std::string& size) {
  std::vector<Feature> out;
  const bool longer = size == "fb-25l";
  // Five tolerance widths beyond the limits (0.2 mm): one millimetre.
  out.push_back(measured("length", "1", longer ? "31.9" : "29.9", longer ? "32.1" : "30.1",
                         longer ? "30.9" : "28.9", longer ? "33.1" : "31.1", "height-gauge"));
  out.back().nominal = longer ? "32" : "30";
  out.back().tells_sizes_apart = true;
  out.push_back(measured("outside", "2", "34.026", "34.042", "33.946", "34.122", "outside-micrometer"));
  out.back().material = "outside";
  out.back().feature_class = "critical";
  out.push_back(measured("flange", "3", "39.95", "40.05", "39.45", "40.55", "outside-micrometer"));
  out.back().places = {"at-0", "at-90"};
  out.push_back(measured("mean-diameter", "4", "36.00", "36.02", "35.90", "36.12", "outside-micrometer"));
  out.back().places = {"left", "right"};
  out.back().reduction = "mean";
  out.push_back(measured("bore", "5", "25.000", "25.021", "24.895", "25.126", "bore-gauge"));
  out.back().material = "inside";
  out.push_back(measured("runout", "6", "", "0.020", "0", "0.120", "indicator"));
  out.back().kind = "capture";
  out.back().capture = "now";
  out.back().zero_plausible = true;
  out.push_back(asked_for("thread", "7", "go_no_go", "plug"));
  out.push_back(asked_for("mating", "8", "mating_check", "pin"));
  out.push_back(asked_for("burr", "9", "look"));
  return out;
}

struct Wanted {
  std::vector<std::string> features = {"length", "outside"};
  std::function<void(Edition&)> change;  ///< applied to every size
  std::function<void(Setup&)> change_setup;
};

inline Edition edition(const std::string& size, const std::string& print_revision, const Wanted& wanted) {
  Edition out;
  out.family = "fb";
  out.size = size;
  out.print_revision = print_revision;
  out.part_number = "inv-" + size;
  out.title = "flanged bushing (invented)";
  for (const auto& feature : all_features(size))
    if (std::find(wanted.features.begin(), wanted.features.end(), feature.key) != wanted.features.end())
      out.features.push_back(feature);
  if (wanted.change) wanted.change(out);
  return out;
}

inline shop::GaugeCard card(const std::string& id, const std::string& kind, const std::string& range_lower,
                            const std::string& range_upper, const std::string& bench = "bench-1") {
  shop::GaugeCard out;
  out.id = id;
  out.name = id;
  out.kind = kind;
  out.bench = bench;
  out.port = "port-" + id;
  out.unit = "mm";
  out.range_lower = range_lower;
  out.range_upper = range_upper;
  out.resolution = "0.001";
  return out;
}

inline Setup setup_of(const Wanted& wanted) {
  Setup out;
  out.words.retake_reasons = {"dirt", "suspect"};
  out.words.pass_reasons = {"no gauge at hand", "not on this part"};
  out.words.set_aside_reasons = {"wrong part"};
  out.words.suspect_reasons = {"error too small to matter", "part is at hand"};
  out.words.disposition_reasons = {"cannot be mended", "works as it is"};
  out.words.run_changes = {{"wear_offset", "features_named"},
                           {"tool", "first_part_and_release"},
                           {"material", "first_part"},
                           {"coolant", "nothing"}};
  out.words.tools = {
      {"plug-1", "plug", true, ""}, {"plug-2", "plug", false, "calibration due"}, {"pin-1", "pin", true, ""}};
  out.words.benches = {"bench-1", "bench-2"};
  out.cards.push_back(card("height-1", "height-gauge", "0", "300"));
  out.cards.push_back(card("micrometer-1", "outside-micrometer", "25", "50"));
  out.cards.push_back(card("micrometer-0", "outside-micrometer", "0", "25"));
  out.cards.push_back(card("bore-1", "bore-gauge", "24", "26"));
  out.cards.back().reads = "difference";
  out.cards.back().setting.master = "ring-25";
  out.cards.back().setting.size = "25.002";
  out.cards.back().setting.limit = "0.002";
  out.cards.push_back(card("lever-1", "indicator", "-1", "1"));
  out.cards.back().speaks = "streams";
  out.cards.push_back(card("height-2", "height-gauge", "0", "300", "bench-2"));
  out.cards.push_back(card("micrometer-2", "outside-micrometer", "25", "50", "bench-2"));
  for (const std::string size : {"fb-25", "fb-25l"})
    out.candidates.push_back({edition(size, "c", wanted), {}});
  if (wanted.change_setup) wanted.change_setup(out);
  return out;
}

/// A shop with its editions published, a page at each bench, and a name stated.
class Shop : public Rig {
 public:
  explicit Shop(const Wanted& wanted = {}) : Rig(setup_of(wanted)) {
    display_comes("page-1", "bench-1");
    done("publish", {{"family", "fb"}, {"person", "lead"}, {"reason", "first issue"}});
    done("state_person", {{"person", "ada"}});
  }

  std::string open_lot(const std::string& name = "lot-1", std::int64_t last = 3,
                       const std::string& size = "fb-25") {
    lot_key = std::string(done("open_lot", {{"lot_name", name},
                                            {"family", "fb"},
                                            {"size", size},
                                            {"first", 1},
                                            {"last", last},
                                            {"machine", "lathe-2"},
                                            {"program", "o1000"},
                                            {"heat", "h-77"}})
                              .at("lot")
                              .as_string());
    return lot_key;
  }
  /// A walk over a lot of three at the stage "final", where no release is needed.
  void begin(const std::string& stage = "final", std::int64_t parts = 3, const std::string& size = "fb-25") {
    if (lot_key.empty()) open_lot("lot-1", parts, size);
    walk_key = std::string(done("begin_walk", {{"lot", lot_key}, {"stage", stage}}).at("walk").as_string());
  }
  /// The second bench gets a page, a name and a walk on the same lot.
  void begin_at_bench_2(const std::string& stage = "final") {
    display_comes("page-2", "bench-2");
    bench = "bench-2";
    done("state_person", {{"person", "bo"}});
    done("begin_walk", {{"lot", lot_key}, {"stage", stage}});
    bench = "bench-1";
  }
  /// Good readings for one part of the default family.
  void good_part() {
    CHECK(press("height-1", "30.000").what == "counted");
    CHECK(press("micrometer-1", "34.030").what == "counted");
  }
};

inline const walk::Hold& hold_of(const Rig& rig) {
  REQUIRE(rig.walk_state().standing.hold);
  return *rig.walk_state().standing.hold;
}
inline std::string hold_kind(const Rig& rig) {
  const auto& hold = rig.walk_state().standing.hold;
  return hold ? hold->kind : "";
}
inline bool resumed(const Rig& rig) { return rig.walk_state().standing.resumed; }

}  // namespace tallystick::rig
