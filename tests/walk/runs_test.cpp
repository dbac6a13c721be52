// rules.md, "Runs" and "Editions": what follows a run change, who releases a setup, what publishing
// publishes.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

TEST_CASE(
    "a new lot is a new setup: a first part, and after it a second person's release before another is asked "
    "for") {
  Shop shop;
  shop.begin("in process");
  CHECK(shop.see("walk.part_stage") == "first part");
  shop.good_part();
  CHECK(hold_kind(shop) == "setup_not_released");
  CHECK(shop.lot().need == "release");
  CHECK(shop.press("height-1", "30.0").what == "not_counted");
  CHECK(shop.refused("run_release", {{"lot", shop.lot_key}, {"person", "ada"}}) ==
        "refused");  // measured it herself
  CHECK(shop.refused("run_release", {{"lot", shop.lot_key}, {"person", ""}}) == "wrong_shape");
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("walk.part_stage") == "in process");
  CHECK(shop.press("height-1", "30.0").what == "counted");
  CHECK(shop.refused("run_release", {{"lot", shop.lot_key}, {"person", "lead"}}) == "not_now");
}

TEST_CASE("lifting is no way round a run release") {
  Shop shop;
  shop.begin("in process");
  shop.good_part();
  CHECK(shop.refused("lift_hold", {{"person", "lead"}, {"reason", "hurry"}}) == "refused");
  CHECK(hold_kind(shop) == "setup_not_released");
}

TEST_CASE("a first part that is rejected: the next part is a first part again, and nothing can be released") {
  Shop shop;
  shop.begin("in process");
  shop.press("height-1", "30.2");
  shop.press("height-1", "30.2");
  CHECK(shop.refused("run_release", {{"lot", shop.lot_key}, {"person", "lead"}}) == "not_now");
  shop.press("micrometer-1", "34.030");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("walk.part_stage") == "first part");
  shop.good_part();
  CHECK(hold_kind(shop) == "setup_not_released");
}

TEST_CASE("a first part with a step passed over is not good enough for a release") {
  Shop shop;
  shop.begin("in process");
  shop.act("not_good", "no gauge at hand");
  shop.press("micrometer-1", "34.030");
  CHECK(shop.lot().need == "first_part");
  CHECK(shop.see("walk.part_stage") == "first part");
}

TEST_CASE("run change that wants a first part and release") {
  Shop shop;
  shop.begin("in process", 9);
  shop.good_part();
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  shop.done("run_change",
            {{"lot", shop.lot_key}, {"change", "tool"}, {"person", "machinist"}, {"program", "o1001"}});
  CHECK(shop.see("walk.part_stage") == "in process");  // the part that was begun stays what it was
  shop.good_part();
  CHECK(shop.see("walk.part_stage") == "first part");
  CHECK(shop.walk_state().part->program == "o1001");
  shop.good_part();
  CHECK(hold_kind(shop) == "setup_not_released");
}

TEST_CASE("run change that wants a first part alone: no release is waited for") {
  Shop shop;
  shop.begin("in process", 9);
  shop.good_part();
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  shop.done("run_change",
            {{"lot", shop.lot_key}, {"change", "material"}, {"person", "machinist"}, {"heat", "h-78"}});
  shop.good_part();
  CHECK(shop.see("walk.part_stage") == "first part");
  shop.good_part();
  CHECK(hold_kind(shop) == "");
  CHECK(shop.see("walk.part_stage") == "in process");
  CHECK(shop.lot().heat == "h-78");
}

TEST_CASE("run change that names features: the next part is asked for them besides, and only the next") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.features[1].stages = {"first_part"}; };
  Shop shop(wanted);
  shop.begin("in process", 9);
  shop.good_part();
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(shop.walk_state().part->asked.size() == 1);
  CHECK(shop.refused("run_change",
                     {{"lot", shop.lot_key}, {"change", "wear_offset"}, {"person", "machinist"}}) ==
        "wrong_shape");
  shop.done("run_change", {{"lot", shop.lot_key},
                           {"change", "wear_offset"},
                           {"person", "machinist"},
                           {"features", json::array{"outside"}}});
  shop.press("height-1", "30.0");
  CHECK(shop.walk_state().part->asked.size() == 2);
  shop.good_part();
  CHECK(shop.walk_state().part->asked.size() == 1);
}

TEST_CASE(
    "features named while a part is being measured are asked of the next part, not forgotten with this one") {
  Wanted wanted;
  wanted.change = [](Edition& edition) { edition.features[1].stages = {"first_part"}; };
  Shop shop(wanted);
  shop.begin("in process", 9);
  shop.good_part();
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(shop.see("walk.serial") == "2");
  shop.done("run_change", {{"lot", shop.lot_key},
                           {"change", "wear_offset"},
                           {"person", "machinist"},
                           {"features", json::array{"outside"}}});
  shop.press("height-1", "30.0");  // part 2 ends: it was begun before the change
  CHECK(shop.see("walk.serial") == "3");
  CHECK(shop.walk_state().part->asked.size() == 2);
}

TEST_CASE("run change: nothing follows, unknown kinds and nameless persons are refused") {
  Shop shop;
  shop.begin("in process", 9);
  shop.good_part();
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  shop.done("run_change", {{"lot", shop.lot_key}, {"change", "coolant"}, {"person", "machinist"}});
  CHECK(shop.lot().need == "");
  CHECK(shop.refused("run_change", {{"lot", shop.lot_key}, {"change", "moon"}, {"person", "machinist"}}) ==
        "unknown_change");
  CHECK(shop.refused("run_change", {{"lot", shop.lot_key}, {"change", "tool"}, {"person", ""}}) ==
        "wrong_shape");
  CHECK(shop.refused("run_change", {{"lot", "nowhere"}, {"change", "tool"}, {"person", "machinist"}}) ==
        "unknown_lot");
}

TEST_CASE("the stages final and after finish need no release") {
  Shop shop;
  shop.begin("final");
  shop.good_part();
  CHECK(shop.see("state") == "step");
  CHECK(shop.see("walk.serial") == "2");
}

TEST_CASE("a lot's release lets every bench that waits for it go on") {
  Shop shop;
  shop.begin("in process", 9);
  shop.begin_at_bench_2("in process");
  shop.good_part();
  shop.bench = "bench-2";
  shop.press("height-2", "30.0");
  shop.press("micrometer-2", "34.030");
  CHECK(hold_kind(shop) == "setup_not_released");
  shop.bench = "bench-1";
  CHECK(hold_kind(shop) == "setup_not_released");
  shop.done("run_release", {{"lot", shop.lot_key}, {"person", "lead"}});
  CHECK(hold_kind(shop) == "");
  const auto first = shop.see("walk.serial");
  shop.bench = "bench-2";
  CHECK(hold_kind(shop) == "");
  CHECK(shop.see("walk.serial") != first);
}

// ---------------------------------------------------------------- editions

TEST_CASE(
    "publishing a family publishes only the sizes whose worked-out content changed, and lists the rest") {
  Shop shop;  // published once
  CHECK(shop.desk->states().editions.size() == 2);
  auto answer = shop.done("publish", {{"family", "fb"}, {"person", "lead"}, {"reason", "again"}});
  CHECK(at(answer, "published").as_array().empty());
  CHECK(at(answer, "unchanged").as_array().size() == 2);
  CHECK(text_at(answer, "what") == "nothing_changed");
  auto candidates = shop.setup.candidates;
  candidates[1].edition.features[0].upper = "32.2";
  shop.desk->configure(shop.setup.words, shop.setup.cards, candidates);
  answer = shop.done("publish", {{"family", "fb"}, {"person", "lead"}, {"reason", "wider"}});
  REQUIRE(at(answer, "published").as_array().size() == 1);
  CHECK(text_at(at(answer, "published").as_array()[0], "size") == "fb-25l");
  CHECK(text_at(at(answer, "published").as_array()[0], "number") == "2");
  CHECK(at(answer, "unchanged").as_array().size() == 1);
  CHECK(shop.desk->states().editions.size() == 3);
  CHECK(shop.refused("publish", {{"family", "zz"}, {"person", "lead"}, {"reason", "x"}}) == "unknown_family");
  CHECK(shop.refused("publish", {{"family", "fb"}, {"person", ""}, {"reason", "x"}}) == "wrong_shape");
  CHECK(shop.refused("publish", {{"family", "fb"}, {"person", "lead"}, {"reason", ""}}) == "wrong_shape");
}

TEST_CASE(
    "one size at two print revisions: each is compared with its own last edition, and numbers never repeat") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) {
    auto later = setup.candidates[0];
    later.edition.print_revision = "d";
    later.edition.features[0].upper = "30.05";
    setup.candidates.push_back(later);
  };
  Shop shop(wanted);
  CHECK(shop.desk->states().editions.size() == 3);
  const auto answer = shop.done("publish", {{"family", "fb"}, {"person", "lead"}, {"reason", "again"}});
  CHECK(at(answer, "published").as_array().empty());
  std::set<std::pair<std::string, std::int64_t>> numbers;
  for (const auto& [sha, edition] : shop.desk->states().editions)
    numbers.insert({edition.size, edition.number});
  CHECK(numbers.size() == 3);
}

TEST_CASE("an edition is kept byte for byte under its SHA-256") {
  Shop shop;
  REQUIRE(shop.writer.blobs().size() == 2);
  for (const auto& [sha, bytes] : shop.writer.blobs()) {
    CHECK(checklist::sha256_hex(bytes) == sha);
    const auto edition = checklist::edition_from(bytes);
    REQUIRE(edition);
    CHECK(checklist::to_json_text(*edition) == bytes);
    CHECK(edition->number == 1);
  }
}

TEST_CASE(
    "a walk keeps its edition while a newer one is published; the next walk takes the newest not withdrawn") {
  Shop shop;
  shop.begin("final", 9);
  const auto old_edition = shop.walk_state().edition;
  auto candidates = shop.setup.candidates;
  candidates[0].edition.features[0].upper = "30.3";
  shop.desk->configure(shop.setup.words, shop.setup.cards, candidates);
  shop.done("publish", {{"family", "fb"}, {"person", "lead"}, {"reason", "wider"}});
  CHECK(shop.press("height-1", "30.2").tone == "reject");  // by the old limits
  CHECK(shop.walk_state().edition == old_edition);
  shop.done("park");
  shop.begin();
  const auto new_edition = shop.walk_state().edition;
  CHECK(new_edition != old_edition);
  CHECK(shop.press("height-1", "30.2").tone == "accept");
  shop.done("park");
  shop.done("withdraw", {{"edition", new_edition}, {"person", "lead"}, {"reason", "slip"}});
  CHECK(shop.refused("withdraw", {{"edition", new_edition}, {"person", "lead"}, {"reason", "slip"}}) ==
        "not_now");
  shop.begin();
  CHECK(shop.walk_state().edition == old_edition);
}

TEST_CASE("without an edition there is no lot and no walk") {
  Shop shop;
  CHECK(shop.refused("open_lot", {{"lot_name", "x"}, {"family", "fb"}, {"size", "fb-99"}, {"last", 3}}) ==
        "no_edition");
  shop.open_lot();
  for (const auto& [sha, edition] : std::map(shop.desk->states().editions))
    shop.done("withdraw", {{"edition", sha}, {"person", "lead"}, {"reason", "all wrong"}});
  CHECK(shop.refused("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}}) == "no_edition");
}

TEST_CASE("a lot's name is open once for a size") {
  Shop shop;
  shop.open_lot("lot-1");
  CHECK(shop.refused("open_lot", {{"lot_name", "lot-1"}, {"family", "fb"}, {"size", "fb-25"}, {"last", 3}}) ==
        "refused");
  CHECK(
      shop.refused("open_lot",
                   {{"lot_name", "lot-2"}, {"family", "fb"}, {"size", "fb-25"}, {"first", 4}, {"last", 3}}) ==
      "wrong_shape");
}
