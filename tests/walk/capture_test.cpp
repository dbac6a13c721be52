// Captures with samples: how they begin, end, break and are kept; rules.md, "Inputs", "Rejects and repeats" ("captures as
// a whole") and the row "step, capture" of the three actions.
#include "drivers/decode/capture_bytes.hpp"
#include "tests/walk/fixture.hpp"

using namespace tallystick;
using namespace tallystick::rig;

namespace {

Wanted captured(const std::string& kind, const std::function<void(Feature&)>& more = {}) {
  Wanted wanted;
  wanted.features = {"runout"};
  wanted.change = [kind, more](Edition& edition) {
    auto& feature = edition.features.front();
    feature.capture = kind;
    feature.least_ms = 1000;
    feature.longest_gap_ms = 1000;
    if (more) more(feature);
  };
  return wanted;
}

void sample(Rig& shop, const std::string& value, double after = 0.1) {
  shop.clock.advance(after);
  shop.desk->offer(shop.reading("lever-1", value, "", true, Cause::streamed));
  shop.settle();
}

/// Two seconds of a turn, its samples in tenths of a micrometre from 0 to `span` and back.
void turn(Rig& shop, int span) {
  for (int n = 0; n < 20; ++n) {
    const int height = n < 10 ? span * n / 10 : span * (20 - n) / 10;
    sample(shop, "0." + std::string(height < 10 ? "000" : height < 100 ? "00" : "0") + std::to_string(height));
  }
}

void act_now(Rig& shop, const std::string& action, const std::string& what) {
  shop.clock.advance(0.1);
  const auto answer = shop.send_command(shop.prepared("act", {{"action", action}}));
  REQUIRE_MESSAGE(answer, answer.error().code << ": " << answer.error().what);
  CHECK(text_at(*answer, "what") == what);
}

const Event& ended(const Rig& shop) {
  for (auto event = shop.writer.journal().rbegin(); event != shop.writer.journal().rend(); ++event)
    if (event->content.kind == "capture_ended") return *event;
  FAIL("no capture ended");
  return shop.writer.journal().front();
}

std::string hold_why(const Rig& shop) { return hold_of(shop).kind + "/" + hold_of(shop).why; }

}  // namespace

TEST_CASE("a span: good begins it, good ends it, one event with its samples, the value of all of them") {
  Shop shop(captured("span"));
  shop.begin();
  CHECK(shop.see("actions.good.does") == "begin_capture");
  CHECK(shop.see("trace").empty());
  CHECK(shop.did("good") == "capture_begun");
  CHECK(shop.see("state") == "capture");
  CHECK(shop.see("actions.good.does") == "end_capture");
  CHECK(shop.see("actions.not_good.does") == "drop_capture");
  CHECK(shop.see("actions.again.does") == "restart_capture");
  const auto events = shop.writer.journal().size();
  turn(shop, 110);
  CHECK(shop.writer.journal().size() == events);  // samples are not offered
  CHECK(shop.see("trace.value") == "0.011");
  CHECK(shop.see("trace.waits") == "false");
  act_now(shop, "good", "counted");
  CHECK(shop.count("capture_ended") == 1);
  const auto fact = shop.last_fact();
  CHECK(fact.value == "0.011");
  CHECK(fact.verdict == "accept");
  CHECK(fact.step_kind == "capture");
  CHECK(fact.gauge == "lever-1");
  CHECK(shop.see("walk.serial") == "2");
  CHECK(shop.see("trace").empty());

  const auto& event = ended(shop);
  const auto outcome = outcome_of(event);
  REQUIRE(outcome.capture);
  const auto bytes = shop.writer.blobs().at(outcome.capture->sha256);
  CHECK(checklist::sha256_hex(bytes) == outcome.capture->sha256);
  const auto kept = capture_from(bytes);
  REQUIRE(kept);
  CHECK(kept->head == outcome.capture->head);
  CHECK(kept->head.samples == 20);
  CHECK(kept->head.ended_by == "action");
  CHECK(kept->samples.size() == 20);
  CHECK(worked_out_again(*kept)->text() == "0.011");
  // The rules see the value as of a reading, and the journal's input names the samples' bytes.
  const auto input = json::parse(event.content.input);
  CHECK(text_at(input, "reading.value") == "0.011");
  CHECK(text_at(input, "capture.sha256") == outcome.capture->sha256);
  CHECK(text_at(input, "body.action") == "good");
}

TEST_CASE("a greatest and a least value of a gauge that reads differences are sizes, a span is not") {
  for (const auto& [kind, value] : std::vector<std::pair<std::string, std::string>>{{"max", "25.0130"}, {"min", "25.002"}, {"span", "0.0110"}}) {
    CAPTURE(kind);
    auto wanted = captured(kind, [](Feature& feature) {
      feature.upper = "26";
      feature.plausible_upper = "30";
    });
    wanted.change_setup = [](Setup& setup) {
      setup.cards[4].reads = "difference";
      setup.cards[4].range_lower = "0";
      setup.cards[4].range_upper = "30";
      setup.cards[4].setting.size = "25.002";   // no master is asked for: the size is fixed
    };
    Shop shop(wanted);
    shop.begin();
    shop.act("good");
    turn(shop, 110);
    act_now(shop, "good", "counted");
    CHECK(Quantity::parse(shop.last_fact().value, Unit()).value() == Quantity::parse(value, Unit()).value());
  }
}

TEST_CASE("a sweep keeps every sample, and the checklist names its value") {
  Shop shop(captured("sweep", [](Feature& feature) { feature.capture_value = "mean"; }));
  shop.begin();
  shop.act("good");
  for (int n = 0; n < 20; ++n) sample(shop, n % 2 == 0 ? "0.004" : "0.006");
  act_now(shop, "good", "counted");
  CHECK(shop.last_fact().value == "0.005");
  const auto kept = capture_from(shop.writer.blobs().at(outcome_of(ended(shop)).capture->sha256));
  CHECK(kept->samples.size() == 20);
}

TEST_CASE("a settled value ends its capture by itself; good has no meaning while it settles") {
  Shop shop(captured("settled", [](Feature& feature) {
    feature.window = "0.001";
    feature.settle_ms = 500;
    feature.least_ms = 0;
  }));
  shop.begin();
  shop.act("good");
  CHECK(shop.see("actions.good.does").empty());
  for (const char* value : {"0.001", "0.009", "0.005", "0.014", "0.012"}) sample(shop, value);
  CHECK(shop.see("trace.value") == "0.014");  // of 0.4 s; the next picture is due at 0.6 s
  for (int n = 0; n < 5; ++n) sample(shop, "0.0121");
  CHECK(shop.count("capture_ended") == 1);
  CHECK(shop.last_fact().value == "0.0121");
  CHECK(outcome_of(ended(shop)).capture->head.ended_by == "settled");
}

TEST_CASE("a capture ends by itself at its time, and begins by itself at the first movement") {
  Shop shop(captured("span", [](Feature& feature) {
    feature.movement = "0.003";
    feature.end_after_ms = 2000;
    feature.turns = 1;
  }));
  shop.begin();
  shop.act("good");
  CHECK(shop.see("actions.good.does").empty());
  for (int n = 0; n < 50; ++n) sample(shop, "0.001");   // five seconds of nothing: it waits
  CHECK(shop.see("trace.waits") == "true");
  CHECK(shop.count("capture_ended") == 0);
  turn(shop, 120);
  CHECK(shop.see("trace.waits") == "false");
  for (int n = 0; n < 20 && shop.count("capture_ended") == 0; ++n) sample(shop, "0.001");
  CHECK(shop.last_fact().value == "0.012");
  CHECK(outcome_of(ended(shop)).capture->head.ended_by == "time");
}

TEST_CASE("good too soon after the begin is refused, and the capture goes on") {
  Shop shop(captured("span"));
  shop.begin();
  shop.act("good");
  for (int n = 0; n < 9; ++n) sample(shop, "0.001", 0.05);
  const auto answer = shop.send_command(shop.prepared("act", {{"action", "good"}}));
  REQUIRE_FALSE(answer);
  CHECK(answer.error().code == "too_short");
  CHECK(shop.see("state") == "capture");
  turn(shop, 50);
  act_now(shop, "good", "counted");
  CHECK(shop.last_fact().value == "0.005");
}

TEST_CASE("again begins it anew, not good drops it: nothing of before counts") {
  Shop shop(captured("span"));
  shop.begin();
  shop.act("good");
  turn(shop, 190);
  act_now(shop, "again", "capture_begun");
  CHECK(shop.see("trace.samples") == "0");
  turn(shop, 80);
  act_now(shop, "good", "counted");
  CHECK(shop.last_fact().value == "0.008");
  shop.did("good");
  turn(shop, 190);
  act_now(shop, "not_good", "capture_dropped");
  CHECK(shop.see("state") == "step");
  CHECK(shop.facts("result").size() == 1);
  CHECK(shop.count("capture_ended") == 1);
}

TEST_CASE("a capture whose stream broke is not judged: it says why, its samples are kept, good begins another") {
  const auto broken_by = [](const std::function<void(Shop&)>& harm) {
    Shop shop(captured("span"));
    shop.begin();
    shop.act("good");
    turn(shop, 90);
    harm(shop);
    shop.settle();
    CHECK(shop.facts("result").empty());
    CHECK(shop.see("state") == "hold");
    const std::string why = hold_why(shop);
    const auto outcome = outcome_of(ended(shop));
    REQUIRE(outcome.capture);
    CHECK(outcome.capture->head.samples == 20);
    CHECK(outcome.capture->head.value.empty());
    CHECK_FALSE(text_at(json::parse(ended(shop).content.input), "reading.gauge").empty());
    CHECK(text_at(json::parse(ended(shop).content.input), "reading.value").empty());
    CHECK(capture_from(shop.writer.blobs().at(outcome.capture->sha256))->samples.size() == 20);
    CHECK(shop.see("actions.good.does") == "begin_capture");
    CHECK(shop.see("actions.again.does") == "forget_hold");
    CHECK(shop.did("good") == "capture_begun");
    CHECK(hold_kind(shop).empty());
    turn(shop, 70);
    act_now(shop, "good", "counted");
    CHECK(shop.last_fact().value == "0.007");
    return why;
  };
  CHECK(broken_by([](Shop& shop) {
    Frame frame;
    shop.clock.advance(0.1);
    frame.first = frame.last = shop.clock.now();
    shop.desk->refused("lever-1", {RefusalReason::bad_checksum, ""}, frame);
  }) == "capture/frame_refused");
  CHECK(broken_by([](Shop& shop) {
    walk::GaugeLine line;
    line.port_state = "open";
    line.since_utc_us = 1;
    shop.desk->line_changed("lever-1", line);
    line.port_state = "lost";
    shop.desk->line_changed("lever-1", line);
  }) == "capture/port_lost");
  CHECK(broken_by([](Shop& shop) { sample(shop, "0.001", 1.2); }) == "capture/gap");
  CHECK(broken_by([](Shop& shop) { shop.tick(1.2); }) == "capture/gap");
  CHECK(broken_by([](Shop& shop) {
    auto reading = shop.reading("lever-1", "0.001", "", true, Cause::streamed);
    reading.decoded.status = GaugeStatus::over_range;
    shop.desk->offer(reading);
  }) == "capture/gauge_status");
}

TEST_CASE("an end that the record sets aside is offered again") {
  Shop shop(captured("span", [](Feature& feature) { feature.end_after_ms = 2050; }));
  shop.begin();
  shop.act("good");
  turn(shop, 110);
  shop.clock.advance(0.1);
  shop.desk->offer(shop.reading("lever-1", "0.001", "", true, Cause::streamed));
  REQUIRE(shop.writer.waiting() == 1);
  shop.writer.set_one_aside();
  CHECK(shop.facts("result").empty());
  shop.tick();
  CHECK(shop.last_fact().value == "0.011");
}

TEST_CASE("a capture that rejects is captured again as a whole; a second reject stands") {
  Shop shop(captured("span"));
  shop.begin();
  shop.act("good");
  turn(shop, 210);
  act_now(shop, "good", "counted");
  CHECK(shop.see("last.verdict") == "reject");
  CHECK(shop.see("last.by") == "0.001");
  CHECK(shop.see("step.attempt") == "2");
  CHECK(shop.see("walk.serial") == "1");
  CHECK(shop.did("good") == "capture_begun");
  turn(shop, 220);
  act_now(shop, "good", "counted");
  CHECK(shop.last_fact().verdict == "reject");
  CHECK(shop.last_fact().value == "0.022");
  CHECK(shop.count("capture_ended") == 2);
}

TEST_CASE("an implausible span is asked about; a capture out of that hold ends it, a broken one does not") {
  Shop shop(captured("span"));
  shop.begin();
  shop.act("good");
  turn(shop, 900);
  for (int n = 0; n < 3; ++n) sample(shop, "0.3");
  act_now(shop, "good", "held");
  CHECK(hold_kind(shop) == "value");
  CHECK(shop.see("actions.good.does") == "begin_capture");
  CHECK(shop.did("good") == "capture_begun");
  CHECK(shop.see("state") == "capture");
  CHECK(shop.see("actions.good.does") == "end_capture");
  turn(shop, 100);
  shop.tick(1.5);
  CHECK(outcome_of(ended(shop)).what == "not_counted");
  CHECK(outcome_of(ended(shop)).why == "gap");
  CHECK(hold_kind(shop) == "value");   // the question stands
  CHECK(shop.did("good") == "capture_begun");
  turn(shop, 100);
  act_now(shop, "good", "counted");
  CHECK(hold_kind(shop).empty());
  CHECK(shop.last_fact().value == "0.01");
  CHECK_FALSE(shop.last_fact().confirmed);
}

TEST_CASE("while a capture runs no other gauge moves the walk, and no value can be typed") {
  auto wanted = captured("span");
  wanted.features = {"outside", "runout"};
  wanted.change = [](Edition& edition) {
    auto& feature = edition.features.back();
    feature.capture = "span";
    feature.longest_gap_ms = 60000;
  };
  Shop shop(wanted);
  shop.begin();
  shop.press("micrometer-1", "34.030");
  shop.act("good");
  turn(shop, 60);
  CHECK(shop.press("micrometer-1", "34.031").why == "capture");
  CHECK(shop.refused("type_value", {{"value", "0.005"}}) == "not_now");
  CHECK(shop.see("state") == "capture");
  turn(shop, 60);
  act_now(shop, "good", "counted");
  CHECK(shop.last_fact().value == "0.006");
}

TEST_CASE("a restart in the middle drops the capture plainly; the walk is resumed") {
  auto wanted = captured("span");
  wanted.features = {"outside", "runout"};
  wanted.change = [](Edition& edition) {
    edition.features.back().capture = "span";
    edition.features.back().longest_gap_ms = 1000;
  };
  for (const bool counted : {false, true}) {
    CAPTURE(counted);
    Shop shop(counted ? wanted : captured("span"));
    shop.begin();
    if (counted) shop.press("micrometer-1", "34.030");
    shop.act("good");
    turn(shop, 60);
    shop.restart();
    shop.display_comes("page-1");
    CHECK(shop.see("capture").empty());
    CHECK(shop.see("state") == (counted ? "resumed" : "step"));
    CHECK(shop.walk_state().standing.last->what == "capture_dropped");
    CHECK(shop.walk_state().standing.last->why == "restart");
    if (counted) shop.act("good");
    sample(shop, "0.019");
    CHECK(shop.did("good") == "capture_begun");
    turn(shop, 60);
    act_now(shop, "good", "counted");
    CHECK(shop.last_fact().value == "0.006");
  }
}

TEST_CASE("samples that began before the action are of before, and so is a frame refused then") {
  Shop shop(captured("span"));
  shop.begin();
  shop.clock.advance(3);
  auto early = shop.reading("lever-1", "0.090", "", true, Cause::streamed);
  CHECK(shop.send_command(shop.prepared("act", {{"action", "good"}})));
  early.frame.last = shop.clock.now();
  shop.desk->offer(early);
  shop.desk->refused("lever-1", {RefusalReason::incomplete, ""}, early.frame);
  turn(shop, 60);
  act_now(shop, "good", "counted");
  CHECK(shop.last_fact().value == "0.006");
}

TEST_CASE("the picture is bounded in rate and in size") {
  Shop shop(captured("span"));
  shop.begin();
  shop.act("good");
  const auto before = at(shop.view(), "sequence").to_number<std::int64_t>();
  for (int n = 0; n < 3000; ++n) sample(shop, n % 7 == 0 ? "0.001" : "0.002", 0.001);
  const auto pictures = at(shop.view(), "sequence").to_number<std::int64_t>() - before;
  CHECK(pictures >= 14);
  CHECK(pictures <= 16);
  CHECK(at(shop.view(), "trace.points").as_array().size() <= 160);
  CHECK(json::serialize(at(shop.view(), "trace")).size() < 4096);
}
