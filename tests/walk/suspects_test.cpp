// rules.md, "A gauge's setting belongs to the gauge" and "Inputs, by owner: lot": what ends a suspect mark,
// what becomes of held parts, and what a released part needs besides. All data invented.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

constexpr const char* small_error = "error too small to matter";
constexpr const char* at_hand = "part is at hand";

struct Failed : Shop {
  explicit Failed(std::vector<std::string> features = {"bore"}, std::function<void(Edition&)> change = {})
      : Shop(wanted(std::move(features), std::move(change))) {}
  static Wanted wanted(std::vector<std::string> features, std::function<void(Edition&)> change) {
    Wanted out;
    out.features = std::move(features);
    out.change = std::move(change);
    return out;
  }
  void set() { CHECK(press("bore-1", "0.000").tone == "setting_good"); }
  /// Power comes back; the ring reads outside twice.
  void fail_gauge() {
    clock.new_boot();
    tick();
    CHECK(press("bore-1", "0.009").tone == "setting_bad");
    CHECK(press("bore-1", "0.009").tone == "setting_bad");
    CHECK(gauge("bore-1").fitness == "failed");
  }
  /// `count` parts with one bore each, then the walk is ended.
  void measure(std::int64_t count, const std::string& bore = "0.003") {
    set();
    begin("final", count);
    for (std::int64_t part = 0; part < count; ++part) CHECK(press("bore-1", bore).what == "counted");
    end();
  }
  void end() {
    if (see("state") == "done")
      CHECK(did("good") == "walk_ended");
    else
      done("end_walk");
  }
  std::vector<std::string> suspects() const {
    std::vector<std::string> out;
    for (const auto& [fact, suspect] : desk->states().suspects) out.push_back(fact);
    return out;
  }
  std::string suspect_of(std::int64_t serial, const std::string& feature = "bore") const {
    for (const auto& [fact, suspect] : desk->states().suspects)
      if (suspect.serial == serial && suspect.feature == feature) return fact;
    return "none";
  }
  json::object decision(const std::string& what, const std::vector<std::string>& results,
                        const std::string& note = "looked at", const std::string& customer = "") {
    json::object out{{"decision", what},
                     {"person", "lead"},
                     {"reason", what == "measure_again" ? at_hand : small_error},
                     {"note", note}};
    json::array list;
    for (const auto& each : results) list.emplace_back(each);
    out["results"] = std::move(list);
    if (!customer.empty()) out["customer"] = customer;
    return out;
  }
  const walk::Claim& claim(std::int64_t serial, const std::string& group = "final") const {
    return lot().claims.at(group + "/" + std::to_string(serial));
  }
  json::value row(std::int64_t serial) const {
    const auto rows = desk->list("suspects");
    for (const auto& each : rows.as_array())
      if (each.at("serial") == serial) return each;
    return nullptr;
  }
};

}  // namespace

TEST_CASE("a suspect result stands in the list with its value, its limits and what became of its part") {
  Failed shop;
  shop.measure(2);
  shop.fail_gauge();
  const auto row = shop.row(1);
  CHECK(text_at(row, "value") == "25.005");
  CHECK(text_at(row, "lower") == "25.000");
  CHECK(text_at(row, "upper") == "25.021");
  CHECK(text_at(row, "verdict") == "accept");
  CHECK(text_at(row, "stage") == "final");
  CHECK(text_at(row, "lot_name") == "lot-1");
  CHECK(text_at(row, "part_end") == "accepted");
  CHECK(text_at(row, "released_utc") == "");
  CHECK(json::serialize(at(row, "decisions")) == R"(["use_as_is","reject","measure_again"])");
  const auto mark = shop.last_fact("mark");
  CHECK(mark.verdict == "suspect");
  CHECK(mark.family == "fb");
  CHECK(mark.feature_name == "bore");
}

TEST_CASE(
    "used as it is: a mark that overrules the suspect one, with person, reason and note; the result stands") {
  Failed shop;
  shop.measure(2);
  shop.fail_gauge();
  const auto before = shop.facts().size();
  const auto result = shop.suspect_of(1);
  const auto mark = shop.desk->states().suspects.at(result).mark;
  shop.done("clear_suspect", shop.decision("use_as_is", {result}, "9 um of 21 left"));
  CHECK(shop.suspect_of(1) == "none");
  CHECK(shop.suspect_of(2) != "none");
  const auto facts = shop.facts();
  REQUIRE(facts.size() == before + 1);
  const auto& cleared = facts.back();
  CHECK(cleared.kind == "mark");
  CHECK(cleared.verdict == "cleared");
  CHECK(cleared.overrules == mark);
  CHECK(cleared.person == "lead");
  CHECK(cleared.reason == std::string("use as is: ") + small_error);
  CHECK(cleared.note == "9 um of 21 left");
  CHECK(shop.claim(1).end == "accepted");
}

TEST_CASE(
    "what a decision must say: a person, a known kind, a reason of the list, results that stand suspect") {
  Failed shop;
  shop.measure(1);
  shop.fail_gauge();
  const auto with = [&](const char* member, json::value value) {
    auto body = shop.decision("use_as_is", shop.suspects());
    body[member] = std::move(value);
    return shop.refused("clear_suspect", std::move(body));
  };
  CHECK(with("person", "") == "wrong_shape");
  CHECK(with("decision", "forget_it") == "wrong_shape");
  CHECK(with("reason", "because") == "unknown_reason");
  CHECK(with("results", json::array{}) == "wrong_shape");
  CHECK(with("results", json::array{"not-there/1"}) == "unknown_suspect");
  CHECK(with("note", "") == "wrong_shape");  // as it is, only with a note
  CHECK(shop.suspects().size() == 1);
  CHECK(with("note", "why it may") == "");
  CHECK(shop.refused("clear_suspect", shop.decision("reject", {"gone/1"})) == "unknown_suspect");
}

TEST_CASE("several at once, all or none") {
  Failed shop;
  shop.measure(3);
  shop.fail_gauge();
  auto all = shop.suspects();
  REQUIRE(all.size() == 3);
  auto one_too_many = all;
  one_too_many.emplace_back("gone/1");
  CHECK(shop.refused("clear_suspect", shop.decision("use_as_is", one_too_many)) == "unknown_suspect");
  CHECK(shop.suspects().size() == 3);
  shop.done("clear_suspect", shop.decision("use_as_is", all));
  CHECK(shop.suspects().empty());
}

TEST_CASE(
    "rejected: the mark ends, a correction rejects the result, the part is held until it has a disposition") {
  Failed shop;
  shop.measure(1);
  shop.fail_gauge();
  const auto result = shop.suspect_of(1);
  shop.done("clear_suspect", shop.decision("reject", {result}));
  const auto correction = shop.last_fact("correction");
  CHECK(correction.overrules == result);
  CHECK(correction.verdict == "reject");
  CHECK(correction.value == "25.005");
  CHECK(shop.last_fact("mark").verdict == "cleared");
  CHECK(shop.claim(1).end == "rejected");
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", "lead"}}) == "parts_open");
  shop.done("disposition", {{"lot", shop.lot_key},
                            {"serial", 1},
                            {"disposition", "scrap"},
                            {"person", "lead"},
                            {"reason", "cannot be mended"}});
  CHECK(shop.last_fact("disposition").reason == "scrap: cannot be mended");
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", "lead"}}) ==
        "not_now");  // nothing is left to release
}

TEST_CASE(
    "to be measured again: the mark stands, the part is asked for this feature alone, the new result clears "
    "it") {
  Failed shop({"length", "bore"});
  shop.set();
  shop.begin("final", 2);
  for (int part = 0; part < 2; ++part) {
    shop.press("height-1", "30.000");
    shop.press("bore-1", "0.003");
  }
  shop.end();
  shop.fail_gauge();
  const auto old = shop.suspect_of(2);
  shop.done("clear_suspect", shop.decision("measure_again", {old}));
  CHECK(shop.suspects().size() == 2);
  CHECK(shop.desk->states().suspects.at(old).decision == "measure_again");
  CHECK(shop.last_fact("disposition").reason == std::string("to be measured again: ") + at_hand);
  CHECK(text_at(shop.row(2), "part_end") == "accepted");
  CHECK(shop.refused("clear_suspect", shop.decision("measure_again", {old})) == "not_now");
  shop.press("bore-1", "0.000");  // as left: good
  shop.begin();
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("step.feature") == "bore");
  CHECK(shop.see("step.count") == "1");
  CHECK(shop.press("bore-1", "0.004").what == "counted");
  CHECK(shop.suspect_of(2) == "none");
  CHECK(shop.suspect_of(1) != "none");
  const auto result = shop.last_fact("result");
  CHECK(result.overrules == old);
  CHECK(result.value == "25.006");
  CHECK(shop.last_fact("mark").verdict == "cleared");
  CHECK(shop.last_fact("mark").reason == "measured again");
  CHECK(shop.claim(2).end == "accepted");
  CHECK(shop.claim(2).again.empty());
  CHECK(shop.see("state") == "done");
}

TEST_CASE("measured again for one feature, a part stays rejected for another") {
  Failed shop({"length", "bore"});
  shop.set();
  shop.begin("final", 1);
  shop.press("height-1", "30.200");
  shop.press("height-1", "30.200");  // stands
  shop.press("bore-1", "0.003");
  CHECK(shop.claim(1).end == "rejected");
  shop.end();
  shop.fail_gauge();
  shop.done("clear_suspect", shop.decision("measure_again", shop.suspects()));
  shop.press("bore-1", "0.000");
  shop.begin();
  CHECK(shop.press("bore-1", "0.004").what == "counted");
  CHECK(shop.suspects().empty());
  CHECK(shop.claim(1).end == "rejected");
}

TEST_CASE("a reject that was the gauge's own fault is gone once the part was measured again") {
  Failed shop;
  shop.set();
  shop.begin("final", 1);
  shop.press("bore-1", "0.030");
  shop.press("bore-1", "0.030");
  CHECK(shop.claim(1).end == "rejected");
  shop.end();
  shop.fail_gauge();
  shop.done("clear_suspect", shop.decision("measure_again", shop.suspects()));
  shop.press("bore-1", "0.000");
  shop.begin();
  shop.press("bore-1", "0.004");
  CHECK(shop.claim(1).end == "accepted");
  CHECK(shop.claim(1).rejected.empty());
}

TEST_CASE("a walk that has no part left goes on at once with what is to be measured again") {
  Failed shop;
  shop.set();
  shop.begin("final", 2);
  shop.press("bore-1", "0.003");
  shop.press("bore-1", "0.003");
  CHECK(shop.see("state") == "done");
  shop.fail_gauge();
  shop.press("bore-1", "0.000");
  if (shop.see("state") == "resumed") shop.did("good");
  shop.done("clear_suspect", shop.decision("measure_again", {shop.suspect_of(1)}));
  CHECK(shop.see("state") == "step");
  CHECK(shop.see("walk.serial") == "1");
  shop.press("bore-1", "0.004");
  CHECK(shop.suspect_of(1) == "none");
  CHECK(shop.see("state") == "done");
}

TEST_CASE("a first part measured again for one feature is no first part") {
  Failed shop({"length", "bore"});
  shop.set();
  shop.begin("in process", 3);
  CHECK(shop.see("walk.part_stage") == "first part");
  shop.press("height-1", "30.000");
  shop.press("bore-1", "0.003");
  CHECK(shop.lot().need == "release");
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  shop.done("give_up", {{"reason", "test"}});
  shop.fail_gauge();
  shop.done("run_change", {{"lot", shop.lot_key}, {"change", "tool"}, {"person", "bo"}});
  shop.done("clear_suspect", shop.decision("measure_again", {shop.suspect_of(1)}));
  shop.press("bore-1", "0.000");
  shop.begin("in process");
  CHECK(shop.see("walk.serial") == "1");
  CHECK(shop.see("walk.part_stage") == "in process");
  shop.press("bore-1", "0.004");
  CHECK(shop.lot().need == "first_part");
}

TEST_CASE(
    "a decision may be taken back: what waited to be measured again is used as it is, and is asked no more") {
  Failed shop;
  shop.measure(1);
  shop.fail_gauge();
  const auto result = shop.suspect_of(1);
  shop.done("clear_suspect", shop.decision("measure_again", {result}));
  CHECK(shop.claim(1).end == "given_back");
  shop.done("clear_suspect", shop.decision("use_as_is", {result}));
  CHECK(shop.claim(1).end == "accepted");
  CHECK(shop.suspects().empty());
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}}) == "no_part_left");
}

TEST_CASE("a suspect result of a released part is decided only with a note on telling the customer") {
  Failed shop;
  shop.measure(2);
  const auto answer =
      shop.done("release",
                {{"lot", shop.lot_key}, {"person", "lead"}, {"order", "order-7"}, {"first", 1}, {"last", 1}});
  CHECK(answer.at("released") == 1);
  CHECK(shop.last_fact("release").reason == "order-7");
  CHECK(shop.last_fact("release").serial == "1");
  shop.fail_gauge();
  CHECK(text_at(shop.row(1), "order") == "order-7");
  CHECK(text_at(shop.row(1), "customer_note_needed") == "true");
  CHECK(text_at(shop.row(2), "customer_note_needed") == "false");
  const auto first = shop.suspect_of(1), second = shop.suspect_of(2);
  for (const char* what : {"use_as_is", "measure_again", "reject"})
    CHECK(shop.refused("clear_suspect", shop.decision(what, {first})) == "customer_note_missing");
  CHECK(shop.refused("clear_suspect", shop.decision("use_as_is", {first, second})) ==
        "customer_note_missing");
  CHECK(shop.suspects().size() == 2);
  shop.done("clear_suspect",
            shop.decision("use_as_is", {first}, "9 um left", "told by telephone on the same day"));
  CHECK(shop.last_fact("mark").note == "9 um left (customer: told by telephone on the same day)");
  shop.done("clear_suspect", shop.decision("use_as_is", {second}));
  CHECK(shop.suspects().empty());
}

TEST_CASE("measuring a released part again clears nothing by itself") {
  Failed shop;
  shop.set();
  shop.begin("final", 1);
  shop.press("bore-1", "0.003");
  CHECK(shop.see("state") == "done");
  shop.done("release", {{"lot", shop.lot_key}, {"person", "lead"}});
  shop.fail_gauge();
  shop.press("bore-1", "0.000");
  if (shop.see("state") == "resumed") shop.did("good");
  CHECK(shop.did("again", "suspect") == "retake");
  CHECK(shop.press("bore-1", "0.004").what == "counted");
  CHECK(shop.suspects().size() == 1);
  shop.done("clear_suspect",
            shop.decision("use_as_is", shop.suspects(), "measured again: 25.006", "told in writing"));
  CHECK(shop.suspects().empty());
}

TEST_CASE("no release while a result stands suspect, a part is held, or waits to be measured again") {
  Failed shop;
  shop.measure(2);
  shop.fail_gauge();
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", "lead"}}) == "parts_open");
  CHECK(shop.refused("close_lot", {{"lot", shop.lot_key}, {"person", "lead"}}) == "parts_open");
  shop.done("clear_suspect", shop.decision("use_as_is", shop.suspects()));
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", ""}}) == "wrong_shape");
  CHECK(shop.refused("release", {{"lot", "nothing"}, {"person", "lead"}}) == "unknown_lot");
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", "lead"}, {"first", 0}}) == "wrong_shape");
  shop.done("close_lot", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(shop.refused("close_lot", {{"lot", shop.lot_key}, {"person", "lead"}}) == "not_now");
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "in process"}}) == "not_now");
  CHECK(shop.refused("run_change", {{"lot", shop.lot_key}, {"change", "tool"}, {"person", "bo"}}) ==
        "not_now");
  CHECK(shop.done("release", {{"lot", shop.lot_key}, {"person", "lead"}}).at("released") == 2);
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", "lead"}}) == "not_now");
}

TEST_CASE("a lot is not closed while a walk goes over it") {
  Failed shop;
  shop.set();
  shop.begin("final", 2);
  CHECK(shop.refused("close_lot", {{"lot", shop.lot_key}, {"person", "lead"}}) == "not_now");
}

TEST_CASE("of a closed lot only what a decision gave back is measured again") {
  Failed shop({"bore"});
  shop.set();
  shop.begin("final", 3);
  shop.press("bore-1", "0.003");
  shop.done("give_up", {{"reason", "enough"}});
  shop.done("close_lot", {{"lot", shop.lot_key}, {"person", "lead"}});
  shop.fail_gauge();
  shop.done("clear_suspect", shop.decision("measure_again", shop.suspects()));
  shop.press("bore-1", "0.000");
  shop.begin();
  CHECK(shop.see("walk.serial") == "1");
  shop.press("bore-1", "0.003");
  CHECK(shop.suspects().empty());
  CHECK(shop.see("state") == "done");
}

TEST_CASE("a held part: its disposition comes from the lists; rework gives it back to be measured whole") {
  Failed shop({"length", "bore"});
  shop.set();
  shop.begin("final", 1);
  shop.press("height-1", "30.200");
  shop.press("height-1", "30.200");
  shop.press("bore-1", "0.003");
  shop.end();
  const auto dispose = [&](const std::string& word, const std::string& reason = "works as it is",
                           std::int64_t serial = 1) {
    return shop.refused("disposition", {{"lot", shop.lot_key},
                                        {"serial", serial},
                                        {"disposition", word},
                                        {"person", "lead"},
                                        {"reason", reason}});
  };
  CHECK(dispose("forget") == "wrong_shape");
  CHECK(dispose("scrap", "because") == "unknown_reason");
  CHECK(dispose("scrap", "works as it is", 2) == "not_now");
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", "lead"}}) == "parts_open");
  CHECK(dispose("rework") == "");
  CHECK(shop.refused("release", {{"lot", shop.lot_key}, {"person", "lead"}}) == "parts_open");
  shop.begin();
  CHECK(shop.see("step.count") == "2");
  shop.press("height-1", "30.000");
  shop.press("bore-1", "0.003");
  CHECK(shop.claim(1).end == "accepted");
  CHECK(shop.done("release", {{"lot", shop.lot_key}, {"person", "lead"}}).at("released") == 1);
}

TEST_CASE("on a tray a part that is measured again is asked for alone") {
  Wanted wanted = Failed::wanted({"length", "bore"}, [](Edition& edition) {
    edition.walk_order = "by_feature";
    edition.tray = 2;
  });
  Failed shop({"length", "bore"}, wanted.change);
  shop.set();
  shop.begin("final", 4);
  for (int tray = 0; tray < 2; ++tray) {
    for (int part = 0; part < 2; ++part) CHECK(shop.press("height-1", "30.000").what == "counted");
    for (int part = 0; part < 2; ++part) CHECK(shop.press("bore-1", "0.003").what == "counted");
  }
  CHECK(shop.see("state") == "done");
  shop.end();
  shop.fail_gauge();
  shop.done("clear_suspect", shop.decision("measure_again", {shop.suspect_of(2), shop.suspect_of(3)}));
  shop.press("bore-1", "0.000");
  shop.begin();
  for (const char* serial : {"2", "3"}) {
    CHECK(shop.see("walk.serial") == serial);
    CHECK(shop.see("step.feature") == "bore");
    CHECK(shop.press("bore-1", "0.004").what == "counted");
  }
  CHECK(shop.suspects().size() == 2);
  CHECK(shop.see("state") == "done");
}

TEST_CASE("a wrong part in hand while a suspect is measured again corrects nothing of the earlier result") {
  Failed shop({"bore"});
  shop.measure(1);
  shop.fail_gauge();
  const auto old = shop.suspect_of(1);
  shop.done("clear_suspect", shop.decision("measure_again", {old}));
  shop.press("bore-1", "0.000");
  shop.begin();
  shop.press("bore-1", "1.500");  // held: implausible, or another size
  CHECK(shop.see("state") == "hold");
  CHECK(shop.did("again") == "part_anew");
  CHECK(shop.facts("correction").empty());
  CHECK(shop.suspect_of(1) == old);
  CHECK(shop.press("bore-1", "0.004").what == "counted");
  CHECK(shop.suspects().empty());
}

TEST_CASE("a derived result that is suspect is measured again by all the readings that it draws on") {
  Failed shop({"length", "bore"}, [](Edition& edition) {
    Feature derived;
    derived.key = derived.balloon = derived.name = "difference";
    derived.kind = "derived";
    derived.unit = "mm";
    derived.upper = "6.000";
    derived.decimals = 3;
    derived.derivation.computation = "formula";
    derived.derivation.formula = "a - b";
    derived.derivation.inputs = {{"a", {{"length", ""}}, {}, "", ""}, {"b", {{"bore", ""}}, {}, "", ""}};
    edition.features.push_back(derived);
  });
  shop.set();
  shop.begin("final", 1);
  shop.press("height-1", "30.000");
  shop.press("bore-1", "0.003");
  CHECK(shop.see("state") == "done");
  shop.end();
  shop.fail_gauge();
  CHECK(shop.suspects().size() == 2);  // the bore, and what was made of it; not the length
  const auto derived = shop.suspect_of(1, "difference");
  REQUIRE(derived != "none");
  shop.done("clear_suspect", shop.decision("measure_again", {derived}));
  shop.press("bore-1", "0.000");
  shop.begin();
  CHECK(shop.see("step.count") == "2");
  shop.press("height-1", "30.010");
  shop.press("bore-1", "0.004");
  CHECK(shop.suspects().empty());  // the bore was measured again as well
  CHECK(shop.claim(1).end == "accepted");
  CHECK(shop.claim(1).again.empty());
  bool found = false;
  for (const auto& fact : shop.facts("result")) found = found || fact.overrules == derived;
  CHECK(found);
}
