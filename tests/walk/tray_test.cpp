// Parts on a tray: one gauge goes round all of them before the next is taken up, each part still stands for
// itself.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

Wanted on_a_tray(int slots, std::function<void(Edition&)> change = {}) {
  Wanted wanted;
  wanted.change = [slots, change](Edition& edition) {
    edition.walk_order = "by_feature";
    edition.tray = slots;
    if (change) change(edition);
  };
  return wanted;
}

/// "slot/serial feature" of what is asked for now.
std::string stands(const Rig& shop) {
  return shop.see("walk.slot") + "/" + shop.see("walk.serial") + " " + shop.see("step.feature");
}

/// Good readings until this is asked for.
void good_until(Shop& shop, const std::string& where) {
  for (int turn = 0; turn < 30 && stands(shop) != where; ++turn) {
    if (shop.see("step.feature") == "length")
      REQUIRE(shop.press("height-1", "30.000").what == "counted");
    else
      REQUIRE(shop.press("micrometer-1", "34.030").what == "counted");
  }
  REQUIRE(stands(shop) == where);
}

/// "serial state open" of each slot.
std::string tray(const Rig& shop) {
  std::string out;
  const auto slots = at(shop.view(), "walk.tray");
  if (!slots.is_array()) return "none";
  for (const auto& slot : slots.as_array())
    out += (out.empty() ? "" : ", ") + text_at(slot, "serial") + " " + text_at(slot, "state") + " " +
           text_at(slot, "open");
  return out;
}

}  // namespace

TEST_CASE(
    "tray: one gauge goes round all parts before the next is taken up, and the next tray begins by itself") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 5);
  std::vector<std::string> way;
  while (shop.see("state") == "step") {
    way.push_back(stands(shop));
    const bool length = shop.see("step.feature") == "length";
    CHECK(shop.press(length ? "height-1" : "micrometer-1", length ? "30.000" : "34.030").what == "counted");
  }
  CHECK(way == std::vector<std::string>{"1/1 length", "2/2 length", "3/3 length", "3/3 outside",
                                        "1/1 outside", "2/2 outside", "1/4 length", "2/5 length",
                                        "2/5 outside", "1/4 outside"});
  CHECK(shop.see("state") == "done");
  for (const char* serial : {"1", "2", "3", "4", "5"})
    CHECK(shop.lot().claims.at("final/" + std::string(serial)).end == "accepted");
  CHECK(shop.see("walk.done") == "5");
}

TEST_CASE("tray: all its parts are claimed in the event that begins it, each as a part of its own") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 5);
  const auto& claims = shop.lot().claims;
  REQUIRE(claims.size() == 3);
  for (const char* slot : {"1", "2", "3"}) {
    CHECK(claims.at("final/" + std::string(slot)).part == shop.walk_key + "." + slot);
    CHECK(claims.at("final/" + std::string(slot)).walk == shop.walk_key);
  }
  CHECK(tray(shop) == "1 open 2, 2 open 2, 3 open 2");
  good_until(shop, "1/1 outside");
  CHECK(tray(shop) == "1 open 1, 2 open 1, 3 ended 0");
  CHECK(shop.last_fact().slot == "3");
  CHECK(shop.last_fact().part == shop.walk_key + ".3");
}

TEST_CASE("tray: the view names the next step with its slot") {
  Shop shop(on_a_tray(2));
  shop.begin("final", 2);
  CHECK(shop.see("next.slot") == "2");
  CHECK(shop.see("next.serial") == "2");
  CHECK(shop.see("next.feature") == "length");
}

TEST_CASE("tray: fewer slots than the edition's may be asked for, more may not, and one is part by part") {
  Shop shop(on_a_tray(4));
  shop.open_lot("lot-1", 4);
  const json::object plain{{"lot", shop.lot_key}, {"stage", "final"}};
  const auto with = [&](int slots) {
    auto body = plain;
    body["tray"] = slots;
    return body;
  };
  CHECK(shop.refused("begin_walk", with(5)) == "wrong_shape");
  CHECK(shop.refused("begin_walk", with(0)) == "wrong_shape");
  shop.done("begin_walk", with(2));
  CHECK(tray(shop) == "1 open 2, 2 open 2");
  shop.done("give_up", {{"reason", "drill"}});
  shop.done("begin_walk", with(1));
  CHECK(tray(shop) == "none");
  CHECK(shop.see("walk.slot") == "");
}

TEST_CASE("tray: an edition that is walked part by part has none") {
  Shop shop;
  shop.open_lot();
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}, {"tray", 3}}) == "refused");
  shop.begin();
  CHECK(tray(shop) == "none");
}

TEST_CASE(
    "tray: at the start of a run it waits until the setup is released; the first part is measured alone") {
  Shop shop(on_a_tray(3));
  shop.begin("in process", 5);
  CHECK(tray(shop) == "none");
  CHECK(shop.see("walk.part_stage") == "first part");
  shop.good_part();
  CHECK(hold_kind(shop) == "setup_not_released");
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(tray(shop) == "2 open 2, 3 open 2, 4 open 2");
  CHECK(stands(shop) == "1/2 length");
}

TEST_CASE("tray: a run change lets the tray be finished; the first part after it is alone again") {
  Shop shop(on_a_tray(2));
  shop.begin("in process", 5);
  shop.good_part();
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  shop.press("height-1", "30.000");
  shop.done("run_change", {{"lot", shop.lot_key}, {"change", "tool"}, {"person", "machinist"}});
  good_until(shop, "/4 length");
  CHECK(shop.see("walk.part_stage") == "first part");
  CHECK(shop.lot().claims.at("in_process/3").end == "accepted");
}

TEST_CASE("tray: again reaches back to the last reading, also when that was of another part") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 3);
  shop.press("height-1", "30.01");
  CHECK(stands(shop) == "2/2 length");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(stands(shop) == "1/1 length");
  CHECK(shop.press("height-1", "30.02").what == "counted");
  CHECK(shop.last_fact().serial == "1");
  CHECK(shop.last_fact().measured_again);
  CHECK(stands(shop) == "2/2 length");
}

TEST_CASE("tray: again on a part that had ended opens it again, and it ends anew") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 3);
  good_until(shop, "1/1 outside");
  CHECK(shop.lot().claims.at("final/3").end == "accepted");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(stands(shop) == "3/3 outside");
  CHECK(shop.lot().claims.at("final/3").end == "");
  CHECK(shop.see("walk.done") == "0");
  shop.press("micrometer-1", "34.05");
  CHECK(stands(shop) == "3/3 outside");  // once more, the same part
  CHECK(shop.press("micrometer-1", "34.05").tone == "stands");
  CHECK(shop.lot().claims.at("final/3").end == "rejected");
  CHECK(shop.see("walk.done") == "1");
  CHECK(stands(shop) == "1/1 outside");
  CHECK(tray(shop) == "1 open 1, 2 open 1, 3 held 0");
}

TEST_CASE("tray: again before the first reading of the next tray reaches the last one, after it no more") {
  Shop shop(on_a_tray(2));
  shop.begin("final", 4);
  good_until(shop, "1/3 length");
  CHECK(shop.did("again", "dirt") == "retake");
  CHECK(stands(shop) == "1/1 outside");
  shop.press("micrometer-1", "34.031");
  CHECK(stands(shop) == "1/3 length");
  CHECK(tray(shop) == "3 open 2, 4 open 2");
  shop.press("height-1", "30.00");
  shop.did("again", "dirt");
  CHECK(stands(shop) == "1/3 length");
  CHECK(shop.refused("act", {{"action", "again"}}) != "");
}

TEST_CASE("tray: a reject that stands holds that part, not the tray") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 3);
  good_until(shop, "2/2 length");
  shop.press("height-1", "30.2");
  CHECK(stands(shop) == "2/2 length");
  CHECK(shop.press("height-1", "30.2").tone == "stands");
  CHECK(stands(shop) == "3/3 length");
  CHECK(tray(shop) == "1 open 1, 2 held 1, 3 open 2");
  good_until(shop, "2/2 outside");  // its other step is asked for all the same
  shop.press("micrometer-1", "34.030");
  shop.press("micrometer-1", "34.030");
  CHECK(shop.lot().claims.at("final/1").end == "accepted");
  CHECK(shop.lot().claims.at("final/2").end == "rejected");
  CHECK(shop.lot().claims.at("final/3").end == "accepted");
}

TEST_CASE("tray: end_part after a reject ends that part; the others go on") {
  Shop shop(on_a_tray(3, [](Edition& edition) { edition.after_reject = "end_part"; }));
  shop.begin("final", 3);
  good_until(shop, "2/2 length");
  shop.press("height-1", "30.2");
  shop.press("height-1", "30.2");
  CHECK(shop.lot().claims.at("final/2").end == "rejected");
  CHECK(tray(shop) == "1 open 1, 2 held 0, 3 open 2");
  good_until(shop, "3/3 outside");
  shop.press("micrometer-1", "34.030");
  CHECK(stands(shop) == "1/1 outside");
}

TEST_CASE("tray: stop_walk after a reject stops; lifted, it goes on with the next part of the round") {
  Shop shop(on_a_tray(3, [](Edition& edition) { edition.after_reject = "stop_walk"; }));
  shop.begin("final", 3);
  good_until(shop, "2/2 length");
  shop.press("height-1", "30.2");
  shop.press("height-1", "30.2");
  CHECK(hold_kind(shop) == "stopped");
  shop.done("lift_hold", {{"person", "lead"}, {"reason", "seen"}});
  CHECK(stands(shop) == "3/3 length");
}

TEST_CASE("tray: wrong part in hand concerns only that part") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 3);
  good_until(shop, "3/3 outside");
  shop.press("micrometer-1", "26.000");
  CHECK(hold_kind(shop) == "value");
  CHECK(shop.did("again") == "part_anew");
  CHECK(stands(shop) == "3/3 length");
  CHECK(tray(shop) == "1 open 1, 2 open 1, 3 open 2");
  CHECK(shop.walk_state().part->steps[0].attempts[0].aside);
  CHECK_FALSE(shop.walk_state().others.at("1").steps[0].attempts[0].aside);
  shop.press("height-1", "30.01");
  CHECK(stands(shop) == "3/3 outside");
}

TEST_CASE("tray: a gauge of another open step moves within the part in hand, never to another part") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 3);
  CHECK(shop.press("micrometer-1", "34.030").what == "moved");
  CHECK(stands(shop) == "1/1 outside");
  shop.press("micrometer-1", "34.030");
  good_until(shop, "1/1 length");  // asked when the round comes to it again
  shop.press("height-1", "30.000");
  CHECK(shop.lot().claims.at("final/1").end == "accepted");
  CHECK(stands(shop) == "2/2 length");
}

TEST_CASE("tray: by key, the next tray waits for it") {
  Shop shop(on_a_tray(2, [](Edition& edition) { edition.next_part = "by_key"; }));
  shop.begin("final", 4);
  for (const char* value : {"30.00", "30.00"}) shop.press("height-1", value);
  for (const char* value : {"34.03", "34.03"}) shop.press("micrometer-1", value);
  CHECK(shop.see("state") == "between_parts");
  CHECK(shop.lot().claims.size() == 2);
  CHECK(shop.did("good") == "part_begun");
  CHECK(tray(shop) == "3 open 2, 4 open 2");
}

TEST_CASE("tray: park, take up and restart keep the exact step and all parts") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 5);
  good_until(shop, "1/1 outside");
  const auto before = mirror::text(shop.walk_state().others), hand = mirror::text(*shop.walk_state().part);
  shop.done("park");
  shop.restart(true);
  shop.display_comes("page-3");
  shop.done("take_up", {{"walk", shop.walk_key}});
  CHECK(mirror::text(shop.walk_state().others) == before);
  CHECK(mirror::text(*shop.walk_state().part) == hand);
  CHECK(shop.see("state") == "resumed");
  CHECK(shop.see("last.serial") == "3");  // what was taken last is said once more, of whichever part
  CHECK(shop.did("good") == "go_on");
  CHECK(stands(shop) == "1/1 outside");
}

TEST_CASE(
    "tray: given up, unread parts go back to the lot, read ones end incomplete, ended ones keep their end") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 5);
  good_until(shop, "3/3 length");
  CHECK(shop.refused("end_walk") == "not_now");
  CHECK(shop.press("micrometer-1", "34.03").what == "moved");
  shop.done("give_up", {{"reason", "drill"}});
  CHECK(shop.lot().claims.at("final/1").end == "incomplete");
  CHECK(shop.lot().claims.at("final/2").end == "incomplete");
  CHECK(shop.lot().claims.at("final/3").end == "given_back");
  shop.done("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}});
  CHECK(tray(shop) == "3 open 2, 4 open 2, 5 open 2");
  shop.done("end_walk");  // nothing was read: it may simply end
  CHECK(shop.lot().claims.at("final/4").end == "given_back");
}

TEST_CASE("tray: another bench gets the next free serials") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 8);
  shop.begin_at_bench_2();
  shop.bench = "bench-2";
  CHECK(tray(shop) == "4 open 2, 5 open 2, 6 open 2");
}

TEST_CASE("tray: a reading of another part is set aside by its key, and that part comes into the hand") {
  Shop shop(on_a_tray(3));
  shop.begin("final", 3);
  good_until(shop, "1/1 outside");
  const auto key = shop.walk_state().others.at("3").steps[0].attempts[0].event;
  shop.done("set_aside", {{"reading", key}, {"reason", "dirt"}});
  CHECK(stands(shop) == "3/3 length");
  CHECK(tray(shop) == "1 open 1, 2 open 1, 3 open 1");
  shop.press("height-1", "30.03");
  CHECK(shop.lot().claims.at("final/3").end == "accepted");
  CHECK(stands(shop) == "1/1 outside");
}

TEST_CASE("tray: a soft hold ends where another part is taken in hand: its value can never count there") {
  Shop shop(on_a_tray(2));
  shop.begin("final", 2);
  shop.press("height-1", "30.00");
  const auto key = shop.walk_state().others.at("1").steps[0].attempts[0].event;
  shop.press("height-1", "28.0");
  CHECK(hold_kind(shop) == "value");
  shop.done("set_aside", {{"reading", key}, {"reason", "dirt"}});
  CHECK(stands(shop) == "1/1 length");
  CHECK(hold_kind(shop) == "");
}

TEST_CASE("tray: a gauge that is good for so many parts is asked for its master in the middle of the round") {
  auto wanted = on_a_tray(3);
  wanted.features = {"bore"};
  wanted.change_setup = [](Setup& setup) {
    for (auto& gauge : setup.cards)
      if (gauge.id == "bore-1") gauge.setting.parts = 2;
  };
  Shop shop(wanted);
  shop.press("bore-1", "0.000");
  shop.begin("final", 3);
  CHECK(shop.press("bore-1", "0.005").what == "counted");
  CHECK(shop.press("bore-1", "0.006").what == "counted");
  CHECK(shop.see("state") == "setting");
  CHECK(shop.press("bore-1", "0.001").what == "setting");
  CHECK(shop.see("state") == "step");
  CHECK(shop.see("walk.slot") == "3");
  CHECK(shop.press("bore-1", "0.007").what == "counted");
  CHECK(shop.see("state") == "done");
}

TEST_CASE("tray: what must come before holds within each part, and places of a feature stay together") {
  auto wanted = on_a_tray(2, [](Edition& edition) {
    for (auto& feature : edition.features)
      if (feature.key == "flange")
        feature.before = {"length"};
      else
        feature.tells_sizes_apart = false;
  });
  wanted.features = {"length", "flange"};
  Shop shop(wanted);
  shop.begin("final", 2);
  std::vector<std::string> way;
  while (shop.see("state") == "step") {
    way.push_back(stands(shop) + " " + shop.see("step.place"));
    const bool length = shop.see("step.feature") == "length";
    CHECK(shop.press(length ? "height-1" : "micrometer-1", length ? "30.000" : "40.000").what == "counted");
  }
  CHECK(way == std::vector<std::string>{"1/1 flange at-0", "1/1 flange at-90", "2/2 flange at-0",
                                        "2/2 flange at-90", "2/2 length ", "1/1 length "});
}
