#include "tests/simulated/inspector.hpp"

#include <algorithm>

namespace tallystick::simulated {

namespace {
bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }
}  // namespace

Inspector::Inspector(House& house, const Scenario& scenario, int number)
    : house_(house), scenario_(scenario), bench_("bench-" + std::to_string(number)), number_(std::to_string(number)),
      person_("inspector-" + number_) {}

std::string Inspector::own(const std::string& kind) const {
  if (kind == "height-gauge") return "height-" + number_;
  if (kind == "bore-gauge") return "bore-" + number_;
  if (kind == "indicator") return "lever-" + number_;
  return kind + "-" + number_;
}

std::int64_t Inspector::serial(const json::value& screen) const {
  const auto text = text_at(screen, "walk.serial");
  return text.empty() ? 0 : std::stoll(text);
}

void Inspector::send(const json::value& screen, const std::string& kind, json::object body) {
  walk::Command command;
  command.kind = kind;
  command.bench = bench_;
  command.saw = {text_at(screen, "walk.key"), text_at(screen, "walk.part"), text_at(screen, "ask")};
  if (command.saw.walk.empty()) command.saw = {};
  command.idempotency_key = bench_ + "/" + std::to_string(++sent_commands_);
  command.body = std::move(body);
  last_command_ = command;
  house_.command(std::move(command), [this](Expected<json::object> answer) {
    if (!answer) ++house_.counters["refused: " + answer.error().code];
  });
}

void Inspector::action(const json::value& screen, const std::string& action, const std::string& reason) {
  const auto does = text_at(screen, "actions." + action + ".does");
  if (does.empty()) return;
  ++house_.counters["action " + does];
  json::object body{{"action", action}};
  if (!reason.empty()) body["reason"] = reason;
  send(screen, "act", std::move(body));
}

Sent Inspector::honest(const json::value& screen) {
  Sent out;
  out.bench = bench_;
  out.feature = text_at(screen, "step.feature");
  out.serial = serial(screen);
  const auto place = text_at(screen, "step.place_index");
  out.place = place.empty() ? 0 : std::stoi(place);
  const auto& print = print_of(scenario_, out.feature);
  if (print.places == 1) out.place = 0;
  out.gauge = own(print.gauge_kind);
  auto value = scenario_.truth.at(out.serial).values.at(out.feature + "/" + std::to_string(out.place));
  if (print.gauge_kind == "bore-gauge") value -= millionths("25.002");
  out.value = decimal(value);
  return out;
}

/// Hands the press over: perhaps dirty, doubled, late or together with another gauge's.
void Inspector::give(Sent given, bool calm) {
  const auto& print = print_of(scenario_, given.feature);
  const auto truth = scenario_.truth.at(given.serial).values.at(given.feature + "/" + std::to_string(given.place));
  // Dirt only ever adds, and only what is good is made to look bad by it.
  if (!calm && inside(print, truth) && !print.mean && house_.dice.chance(scenario_.faults.dirt)) {
    given.value = decimal(millionths(given.value) + print.upper - (print.has_lower ? print.lower : 0) + 1000);
    ++house_.counters["dirt"];
  }
  if (!calm && house_.dice.chance(scenario_.faults.partial)) {
    house_.refuse(given.gauge, given.value.substr(0, 3));
    ++house_.counters["partial frame"];
    return;
  }
  if (print.gauge_kind == "micrometer" && !calm && house_.dice.chance(scenario_.faults.together)) {
    // Somebody sets another gauge down on its button at the same instant.
    Sent other = given;
    other.gauge = "height-" + number_;
    other.feature = "length";
    other.place = 0;
    other.serial = 0;
    other.value = "30.000";
    house_.press(other);
    ++house_.counters["two at one instant"];
  }
  const bool late = !calm && house_.dice.chance(scenario_.faults.late);
  const Sent pressed = house_.stamped(given);
  if (late) {
    house_.advance(1.5);   // a radio receiver that held the frame back
    house_.commit_some(1);
    house_.tell(bench_);
    ++house_.counters["late"];
  }
  house_.offer(pressed);
  if (!calm && house_.dice.chance(scenario_.faults.doubled)) {
    house_.advance(0.05);
    house_.press(given);
    ++house_.counters["doubled"];
  }
}

void Inspector::reply(const std::string& gauge) {
  const auto& screen = house_.screen(bench_);
  if (screen.is_null() || serial(screen) == 0 || text_at(screen, "step.kind") != "reading") return;
  auto answer = honest(screen);
  if (answer.gauge != gauge) return;
  house_.advance(0.2);
  house_.press(answer);
}

void Inspector::press_blindly() {
  Sent blind;
  blind.bench = bench_;
  blind.gauge = "micrometer-" + number_;
  blind.value = "34.030";
  house_.press(blind);
}

void Inspector::measure(const json::value& screen, bool calm) {
  const auto kind = text_at(screen, "step.kind");
  const auto feature = text_at(screen, "step.feature");
  if (serial(screen) == 0) return;
  if (kind == "reading") {
    const auto good = text_at(screen, "actions.good.does");
    if (good == "ask_gauge") return action(screen, "good");
    return give(honest(screen), calm);
  }
  if (kind == "capture") return action(screen, "good");
  const int place = kind == "no_go" ? 1 : 0;
  if (kind != "look" && text_at(screen, "step.tool_id").empty()) return send(screen, "state_tool", {{"tool", "plug"}, {"id", "plug-1"}});
  const bool good = scenario_.truth.at(serial(screen)).values.at(feature + "/" + std::to_string(place)) == 1;
  action(screen, good ? "good" : "not_good");
}

void Inspector::answer_hold(const json::value& screen, bool calm) {
  const auto kind = text_at(screen, "hold.kind");
  ++house_.counters["hold " + kind];
  if (serial(screen) == 0 || text_at(screen, "step.feature").empty()) return;
  const auto& print = print_of(scenario_, text_at(screen, "step.feature"));
  if (kind == "value" || kind == "size") {
    // Is the part really so?
    const auto place = print.places == 1 ? 0 : std::stoi(text_at(screen, "step.place_index"));
    const auto truth = scenario_.truth.at(serial(screen)).values.at(print.key + "/" + std::to_string(place));
    const auto held = text_at(screen, "hold.value");
    if (held == decimal(truth) || (!held.empty() && millionths(held) == truth)) {
      ++house_.counters["it really is so"];
      return action(screen, "not_good");
    }
    if (house_.dice.chance(0.3)) return action(screen, "again");
    return measure(screen, calm);
  }
  if (kind == "nobody_told") return;
  if (house_.dice.chance(0.3)) return action(screen, "again");
  if (text_at(screen, "step.kind") == "setting") return;
  measure(screen, calm);
}

void Inspector::lift(const json::value& screen) {
  const auto kind = text_at(screen, "hold.kind");
  ++house_.counters["hard hold " + kind];
  if (kind == "setup_not_released") {
    json::object body{{"lot", house_.lot}, {"person", "lead"}};
    return send(screen, "run_release", std::move(body));
  }
  send(screen, "lift_hold", {{"person", "lead"}, {"reason", "seen"}});
}

void Inspector::set_gauge(const json::value&, const std::string& gauge, bool calm) {
  Sent out;
  out.bench = bench_;
  out.gauge = gauge;
  const bool bad = !calm && house_.dice.chance(scenario_.faults.master_bad);
  static const char* const inside[] = {"0.000", "0.001", "0.002", "-0.002", "-0.001"};
  static const char* const outside[] = {"0.003", "-0.003", "0.010", "0.004"};
  out.value = bad ? outside[house_.dice.pick(4)] : inside[house_.dice.pick(5)];
  if (bad) dirty_ = true;
  // A ring that reads wrong mostly reads wrong again.
  else if (!calm && dirty_ && house_.dice.chance(0.5)) out.value = outside[house_.dice.pick(4)];
  else dirty_ = false;
  ++house_.counters["on the master"];
  house_.press(out);
}

void Inspector::idle(const json::value& screen) {
  const auto parked = at(screen, "parked");
  if (parked.is_array() && !parked.as_array().empty())
    return send(screen, "take_up", {{"walk", text_at(parked.as_array()[house_.dice.pick(parked.as_array().size())], "walk")}});
  if (house_.lot.empty()) return;
  walk::Command command;
  command.kind = "begin_walk";
  command.bench = bench_;
  command.idempotency_key = bench_ + "/" + std::to_string(++sent_commands_);
  command.body = {{"lot", house_.lot}, {"stage", scenario_.stage}};
  house_.command(std::move(command), [this](Expected<json::object> answer) {
    // A walk asked for before that, or a part that another bench gave back since, may still begin one.
    if (answer) finished_ = false;
    else if (answer.error().code == "no_part_left") finished_ = true;
  });
}

void Inspector::resumed(const json::value& screen, bool calm) {
  ++house_.counters["resumed"];
  const auto dice = house_.dice.pick(10);
  if (calm || dice < 5) return action(screen, "good");
  if (dice < 6) return action(screen, "not_good");
  if (dice < 7) return action(screen, "again");
  if (text_at(screen, "step.kind") == "reading" && serial(screen) != 0) {
    ++house_.counters["pressed while resumed"];
    return give(honest(screen), true);
  }
  action(screen, "good");
}

/// A mistake or an unusual thing; true: that was this turn.
bool Inspector::blunder(const json::value& screen) {
  const auto& faults = scenario_.faults;
  auto& dice = house_.dice;
  const bool reading = text_at(screen, "state") == "step" && text_at(screen, "step.kind") == "reading" && serial(screen) != 0;
  const auto caused = [&](const char* what) {
    ++house_.counters[what];
    return true;
  };
  Sent wrong;
  wrong.bench = bench_;
  if (reading && dice.chance(faults.wrong_gauge)) {
    wrong.gauge = "caliper-" + number_;
    wrong.value = "30.02";
    house_.press(wrong);
    return caused("wrong gauge");
  }
  if (reading && dice.chance(faults.zero)) {
    wrong = honest(screen);
    if (wrong.gauge.starts_with("bore")) return false;
    wrong.serial = 0;
    wrong.value = "0.000";
    house_.press(wrong);
    return caused("zero");
  }
  if (reading && dice.chance(faults.inches)) {
    wrong = honest(screen);
    if (wrong.gauge.starts_with("bore")) return false;
    wrong.serial = 0;
    wrong.value = decimal(millionths(wrong.value) * 10 / 254);
    wrong.frame_has_unit = false;
    house_.press(wrong);
    return caused("set to inches");
  }
  if (reading && text_at(screen, "step.feature") == "length" && dice.chance(faults.other_size)) {
    wrong = honest(screen);
    wrong.serial = 0;
    wrong.value = decimal(millionths("32.000") + dice.between(-90, 90) * 1000);
    house_.press(wrong);
    return caused("part of another size");
  }
  if (reading && dice.chance(faults.other_feature)) {
    // Takes the gauge of another feature of this part and measures that.
    const auto& print = scenario_.prints[dice.pick(scenario_.prints.size())];
    if (print.kind != "reading" || print.gauge_kind == "bore-gauge" || print.key == text_at(screen, "step.feature")) return false;
    wrong.gauge = own(print.gauge_kind);
    wrong.feature = print.key;
    wrong.serial = serial(screen);
    wrong.value = decimal(scenario_.truth.at(wrong.serial).values.at(print.key + "/0"));
    house_.press(wrong);
    return caused("another feature");
  }
  const auto again = text_at(screen, "actions.again.does");
  if ((again == "retake" || again == "retake_previous" || again == "answer_back") && dice.chance(faults.retake)) {
    action(screen, "again", "dirt");
    return true;
  }
  if (reading && dice.chance(faults.pass_over)) {
    action(screen, "not_good");
    return caused("passed over");
  }
  if (reading && dice.chance(faults.typed)) {
    const auto truth = honest(screen);
    if (truth.gauge.starts_with("bore")) return false;
    send(screen, "type_value", {{"value", truth.value}, {"unit", "mm"}});
    return caused("typed");
  }
  return false;
}

void Inspector::rare(const json::value& screen) {
  const auto& faults = scenario_.faults;
  auto& dice = house_.dice;
  const bool walking = !text_at(screen, "walk.key").empty();
  if (walking && dice.chance(faults.park)) {
    ++house_.counters["parked"];
    send(screen, "park");
  } else if (dice.chance(faults.person)) {
    ++house_.counters["another person"];
    send(screen, walking ? "change_person" : "state_person", {{"person", dice.chance(0.5) ? "relief" : person_}});
  } else if (walking && dice.chance(faults.run_change)) {
    ++house_.counters["run change"];
    send(screen, "run_change", {{"lot", house_.lot}, {"change", "tool"}, {"person", "machinist"}});
  } else if (walking && dice.chance(faults.give_up)) {
    ++house_.counters["given up"];
    send(screen, "give_up", {{"reason", "drill"}});
  } else if (walking && dice.chance(faults.withdraw)) {
    ++house_.counters["edition withdrawn"];
    house_.withdraw_and_publish();
    send(screen, "publish", {{"family", "sim"}, {"person", "lead"}, {"reason", "new title"}});
    send(screen, "withdraw", {{"edition", text_at(screen, "walk.edition")}, {"person", "lead"}, {"reason", "old title"}});
  } else if (!last_command_.kind.empty() && dice.chance(faults.repeated_command)) {
    ++house_.counters["a command sent again"];
    house_.command(last_command_);   // the same key: a page that did not hear the answer
  } else if (!last_command_.kind.empty() && last_command_.kind == "act" && dice.chance(faults.stale_command)) {
    ++house_.counters["a command for what is past"];
    auto stale = last_command_;
    stale.idempotency_key += "/again";
    house_.command(stale);
  }
}

void Inspector::act(bool calm) {
  const auto& screen = house_.screen(bench_);
  if (screen.is_null()) return;
  if (!calm) rare(screen);
  if (text_at(screen, "person").empty() && text_at(screen, "walk.key").empty() && house_.dice.chance(0.5))
    return send(screen, "state_person", {{"person", person_}});
  if (!calm && blunder(screen)) return;
  step(screen, calm);
}

void Inspector::step(const json::value& screen, bool calm) {
  const auto state = text_at(screen, "state");
  if (state == "idle") {
    const auto due = at(screen, "settings_due");
    if (due.is_array() && !due.as_array().empty() && house_.dice.chance(0.3))
      return set_gauge(screen, text_at(due.as_array()[0], "gauge"), calm);
    return idle(screen);
  }
  if (state == "resumed") return resumed(screen, calm);
  if (state == "setting") return set_gauge(screen, text_at(screen, "step.gauge"), calm);
  if (state == "hold") return answer_hold(screen, calm);
  if (state == "hard_hold") return lift(screen);
  if (state == "between_parts" || state == "done") return action(screen, "good");
  if (state == "capture") {
    Sent frame = honest(screen);
    frame.streamed = true;
    for (int n = 0; n < 3; ++n) {
      house_.advance(0.01);
      house_.press(frame);
    }
    return;
  }
  // A reject that cannot be (the part is good): measured once more.
  if (has(text_at(screen, "actions.again.does"), "retake") && text_at(screen, "last.stands") == "true" && !text_at(screen, "last.feature").empty()) {
    const auto& print = print_of(scenario_, text_at(screen, "last.feature"));
    const auto shown = text_at(screen, "last.serial");
    bool good = !shown.empty() && scenario_.truth.contains(std::stoll(shown)) && !print.gauge_kind.empty();
    for (int place = 0; good && place < print.places; ++place)
      good = inside(print, scenario_.truth.at(std::stoll(shown)).values.at(print.key + "/" + std::to_string(place)));
    if (good && house_.dice.chance(0.7)) {
      ++house_.counters["a reject that cannot be"];
      return action(screen, "again", "dirt");
    }
  }
  measure(screen, calm);
}

}  // namespace tallystick::simulated
