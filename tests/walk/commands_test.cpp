// Commands and effects: what its sender saw, idempotency keys, one proposal in flight, told rides with the
// next event.
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

TEST_CASE("the same idempotency key gives the same answer, and does it once") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  const auto command = shop.prepared("act", {{"action", "again"}, {"reason", "dirt"}});
  shop.clock.advance(3);
  const auto first = shop.send_command(command);
  const auto events = shop.writer.journal().size();
  const auto second = shop.send_command(command);
  REQUIRE(first);
  REQUIRE(second);
  CHECK(*first == *second);
  CHECK(shop.writer.journal().size() == events);
}

TEST_CASE("the same key twice while the first is still being kept: one event, two equal answers") {
  Shop shop;
  shop.open_lot();
  auto command = shop.prepared("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}});
  std::vector<json::object> answers;
  for (int send = 0; send < 2; ++send)
    shop.desk->command(command, [&](Rig::Answer answer) {
      REQUIRE(answer);
      answers.push_back(*answer);
    });
  CHECK(shop.writer.waiting() == 1);
  shop.settle();
  REQUIRE(answers.size() == 2);
  CHECK(answers[0] == answers[1]);
  CHECK(shop.count("begin_walk") == 1);
}

TEST_CASE("an idempotency key is known after a restart too") {
  Shop shop;
  shop.open_lot();
  const auto command = shop.prepared("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}});
  const auto first = shop.send_command(command);
  shop.restart();
  const auto second = shop.send_command(command);
  REQUIRE(first);
  REQUIRE(second);
  CHECK(*first == *second);
  CHECK(shop.count("begin_walk") == 1);
}

TEST_CASE("a command that was refused may be sent again with the same key when its reason is gone") {
  Shop shop;
  shop.begin();
  auto command = shop.prepared("take_up", {{"walk", shop.walk_key}});
  command.saw = {};
  CHECK_FALSE(shop.send_command(command));
  shop.done("park");
  CHECK(shop.send_command(command));
}

TEST_CASE("a command for a step that the walk has left is refused as moved on, and nothing is kept of it") {
  Shop shop;
  shop.begin();
  const auto stale = shop.prepared("act", {{"action", "not_good"}});
  shop.press("height-1", "30.0");
  const auto events = shop.writer.journal().size();
  shop.clock.advance(3);
  const auto answer = shop.send_command(stale);
  REQUIRE_FALSE(answer);
  CHECK(answer.error().code == "moved_on");
  CHECK(shop.writer.journal().size() == events);
  CHECK(shop.see("step.feature") == "outside");
}

TEST_CASE("a command for another walk or another part is refused as moved on") {
  Shop shop;
  shop.begin("final", 9);
  auto command = shop.prepared("note", {{"text", "burr at the flange"}});
  shop.good_part();
  command.saw.ask.clear();
  auto answer = shop.send_command(command);  // the part is another
  REQUIRE_FALSE(answer);
  CHECK(answer.error().code == "moved_on");
  command.saw.part.clear();
  CHECK(shop.send_command(command));  // the walk is the same
  shop.done("park");
  shop.begin();
  command.idempotency_key = "another";
  answer = shop.send_command(command);
  REQUIRE_FALSE(answer);
  CHECK(answer.error().code == "moved_on");
}

TEST_CASE("a command that waits is held against the state that it finds: two presses of one key do it once") {
  Shop shop;
  shop.begin();
  shop.clock.advance(3);
  int good = 0, moved_on = 0;
  for (int press = 0; press < 2; ++press)
    shop.desk->command(shop.prepared("act", {{"action", "not_good"}}), [&](Rig::Answer answer) {
      if (answer)
        ++good;
      else if (answer.error().code == "moved_on")
        ++moved_on;
    });
  shop.settle();
  CHECK(good == 1);
  CHECK(moved_on == 1);
  CHECK(shop.see("step.feature") == "outside");
}

TEST_CASE("nothing is answered, shown or sounded before its commit") {
  Shop shop;
  shop.begin();
  shop.clock.advance(3);
  const auto before = shop.view();
  int changes = 0;
  shop.desk->on_view_changed([&](const std::string&) { ++changes; });
  shop.send("height-1", "30.0");
  CHECK(shop.writer.waiting() == 1);
  CHECK(shop.view() == before);
  CHECK(changes == 0);
  CHECK(shop.walk_state().part->steps[0].attempts.empty());
  shop.settle();
  CHECK(changes > 0);
  CHECK(shop.walk_state().part->steps[0].attempts.size() == 1);
}

TEST_CASE("an asked gauge is asked only after its event is durable") {
  Wanted wanted;
  wanted.change_setup = [](Setup& setup) { setup.cards[0].speaks = "asked"; };
  Shop shop(wanted);
  shop.begin();
  shop.clock.advance(3);
  shop.desk->command(shop.prepared("act", {{"action", "good"}}), {});
  CHECK(shop.asked.empty());
  shop.settle();
  CHECK(shop.asked.size() == 1);
}

TEST_CASE("what the record sets aside changes nothing, is answered as not kept, and the walk goes on") {
  Shop shop;
  shop.begin();
  shop.clock.advance(3);
  const auto states = mirror::text(shop.desk->states());
  shop.send("height-1", "30.0");
  shop.writer.set_one_aside();
  CHECK(mirror::text(shop.desk->states()) == states);
  CHECK(shop.log.size() == 1);
  std::string code;
  shop.desk->command(shop.prepared("note", {{"text", "x"}}),
                     [&](Rig::Answer answer) { code = answer ? "" : answer.error().code; });
  shop.writer.set_one_aside();
  CHECK(code == "not_kept");
  CHECK(shop.press("height-1", "30.0").what == "counted");
}

TEST_CASE(
    "an owner has at most one proposal in flight; benches of different lots do not wait for each other") {
  Shop shop;
  shop.begin("final", 9);
  const auto lot_1 = shop.lot_key;
  shop.open_lot("lot-2", 9);
  shop.display_comes("page-2", "bench-2");
  shop.bench = "bench-2";
  shop.done("begin_walk", {{"lot", shop.lot_key}, {"stage", "final"}});
  shop.bench = "bench-1";
  shop.clock.advance(3);
  shop.send("height-1", "30.0");
  shop.send("height-1", "30.01");
  CHECK(shop.writer.waiting() == 1);
  shop.send("height-2", "30.0");
  CHECK(shop.writer.waiting() == 2);
  shop.settle();
  CHECK(shop.facts("result").size() == 2);
}

TEST_CASE("told rides with the next event of the bench") {
  Shop shop;
  shop.begin();
  const auto outcome = shop.press("height-1", "30.0");
  REQUIRE(outcome.told);
  CHECK(outcome.told->display == "page-1");
  CHECK(outcome.told->ask ==
        shop.walk_key + "/step/1/0.0" + outcome.told->ask.substr((shop.walk_key + "/step/1/0.0").size()));
}

TEST_CASE("told is kept by itself in a quiet moment, once") {
  Shop shop;
  shop.begin();
  for (int second = 0; second < 12; ++second) shop.tick();
  CHECK(shop.count("told") == 1);
}

TEST_CASE("a tick that changes nothing keeps nothing") {
  Shop shop;
  shop.begin();
  for (int second = 0; second < 8; ++second) shop.tick();
  const auto events = shop.writer.journal().size();
  for (int second = 0; second < 100; ++second) shop.tick();
  CHECK(shop.writer.journal().size() == events);
}

TEST_CASE("refused frames are counted, one event a gauge and minute, with the first raw bytes") {
  Shop shop;
  Frame frame;
  frame.bytes = "garbage";
  frame.first = frame.last = shop.clock.now();
  for (int n = 0; n < 5; ++n) {
    shop.desk->refused("height-1", {RefusalReason::not_mine, ""}, frame);
    frame.bytes = "later";
  }
  shop.desk->refused("height-1", {RefusalReason::bad_checksum, ""}, frame);
  shop.tick(59);
  CHECK(shop.count("refusals_counted") == 0);
  shop.tick(2);
  REQUIRE(shop.count("refusals_counted") == 1);
  for (const auto& event : shop.writer.journal())
    if (event.content.kind == "refusals_counted") {
      CHECK(event.content.raw == "garbage");
      CHECK(event.content.input.find("\"not_mine\":5") != std::string::npos);
      CHECK(event.content.input.find("\"bad_checksum\":1") != std::string::npos);
    }
}

TEST_CASE("the queue of a bench is bounded: what is beyond it is refused as busy, and never half done") {
  Shop shop;
  shop.begin();
  shop.clock.advance(3);
  std::size_t busy = 0, answered = 0;
  for (std::size_t n = 0; n < walk::waiting_limit + 20; ++n) {
    auto command = shop.prepared("note", {{"text", "n"}});
    shop.desk->command(command, [&](Rig::Answer answer) {
      ++answered;
      if (!answer && answer.error().code == "busy") ++busy;
    });
  }
  CHECK(busy == 19);  // one is in flight
  shop.settle();
  CHECK(answered == walk::waiting_limit + 20);
  CHECK(shop.count("note") == walk::waiting_limit + 1);
}

TEST_CASE("unknown commands, benches and shapes are refused with what was found") {
  Shop shop;
  CHECK(shop.refused("dance") == "unknown_command");
  auto command = shop.prepared("note");
  command.bench = "bench-77";
  const auto answer = shop.send_command(command);
  REQUIRE_FALSE(answer);
  CHECK(answer.error().code == "unknown_bench");
  CHECK(shop.refused("note", {{"text", "x"}}) == "no_walk");
  CHECK(shop.refused("state_person", {{"person", 5}}) == "wrong_shape");
  // What only the daemon itself may say is no command.
  CHECK(shop.refused("started") == "unknown_command");
  CHECK(shop.refused("told") == "unknown_command");
}

TEST_CASE("a walk is taken over by name, and results name who measured") {
  Shop shop;
  shop.begin();
  shop.press("height-1", "30.0");
  shop.done("change_person", {{"person", "bo"}});
  shop.press("micrometer-1", "34.030");
  const auto facts = shop.facts("result");
  CHECK(facts[0].person == "ada");
  CHECK(facts[1].person == "bo");
}

TEST_CASE("an untrusted clock is written on the results") {
  Shop shop;
  shop.begin();
  shop.desk->clock(false, "not synchronised");
  CHECK(shop.see("clock.trusted") == "false");
}

TEST_CASE(
    "a step of the wall clock changes no look time and no repeat window: within a boot steady time counts") {
  Shop shop;
  shop.begin();
  shop.clock.step_utc(-3600);
  shop.clock.advance(0.5);
  CHECK(shop.press_now("height-1", "30.0").what == "counted");
  shop.clock.step_utc(+7200);
  shop.clock.advance(0.1);
  CHECK(shop.press_now("micrometer-1", "34.030").what == "too_early");
}
