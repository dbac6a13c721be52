#include "daemon/walk/desk.hpp"

#include "daemon/measure/json_mirror.hpp"

namespace tallystick::walk {

namespace json = boost::json;

namespace {
constexpr std::size_t answers_kept = 512;
constexpr std::size_t earlier_kept = 30;
constexpr std::int64_t quiet_before_told_ns = 5'000'000'000;
constexpr std::int64_t refusal_window_ns = 60'000'000'000;
}  // namespace

Desk::Desk(DeskSeams seams) : seams_(std::move(seams)) { started_ = seams_.now(); }

// ---------------------------------------------------------------- the queue: one proposal in flight an owner

std::string Desk::bench_of(const Input& input) const {
  if (!input.reading) return input.bench;
  const auto gauge = states_.gauges.find(input.reading->gauge);
  return gauge == states_.gauges.end() ? input.bench : gauge->second.card.bench;
}

std::vector<std::string> Desk::first_owners(const Input& input) const {
  std::vector<std::string> owners;
  const std::string bench = bench_of(input);
  if (!bench.empty()) {
    owners.push_back("1 bench/" + bench);
    if (const auto state = states_.benches.find(bench); state != states_.benches.end() && !state->second.walk.empty())
      owners.push_back("2 walk/" + state->second.walk);
  }
  if (const auto* lot = input.body.if_contains("lot"); lot && lot->is_string())
    owners.push_back("3 lot/" + std::string(lot->as_string()));
  if (input.reading) owners.push_back("4 gauge/" + input.reading->gauge);
  if (const auto* gauge = input.body.if_contains("gauge"); gauge && gauge->is_string())
    owners.push_back("4 gauge/" + std::string(gauge->as_string()));
  if (input.kind == "publish" || input.kind == "withdraw") owners.push_back("5 editions");
  if (input.kind == "open_lot") owners.push_back("3 lots");
  return owners;
}

void Desk::take(Input input, std::string raw, Answered answered) {
  if (!input.idempotency_key.empty()) {
    if (const auto known = answers_.find(input.idempotency_key); known != answers_.end()) {
      if (answered) answered(known->second);
      return;
    }
    auto& others = awaiting_answer_[input.idempotency_key];
    others.push_back(std::move(answered));
    if (others.size() > 1) return;
    answered = [this, key = input.idempotency_key](Expected<json::object> answer) { answer_later(key, std::move(answer)); };
  }
  const auto owners = first_owners(input);
  auto& line = waiting_[owners.empty() ? "" : owners.front()];
  if (line.size() >= waiting_limit) {
    ++overflowed_;
    const std::string bench = bench_of(input);
    if (seams_.log) seams_.log("bench " + bench + ": more than " + std::to_string(waiting_limit) + " inputs wait; one was refused");
    if (answered) answered(fail("busy", "too much waits at this bench already", bench, "try again in a moment"));
    return;
  }
  line.push_back({++arrivals_, std::move(input), std::move(raw), std::move(answered)});
  // Behind another of the same owner nothing can start: whoever is first was tried when it came.
  if (line.size() == 1) pump();
}

void Desk::answer_later(const std::string& idempotency_key, Expected<json::object> answer) {
  const auto waiting = awaiting_answer_.find(idempotency_key);
  if (waiting == awaiting_answer_.end()) return;
  const auto asked = std::move(waiting->second);
  awaiting_answer_.erase(waiting);
  if (answer) {
    answers_[idempotency_key] = *answer;
    answer_order_.push_back(idempotency_key);
    while (answer_order_.size() > answers_kept) {
      answers_.erase(answer_order_.front());
      answer_order_.pop_front();
    }
  }
  for (const auto& one : asked)
    if (one) one(answer);
}

void Desk::pump() {
  if (pumping_) {   // an answer given below brought another input: its turn comes in the loop that is running
    pump_again_ = true;
    return;
  }
  pumping_ = true;
  do {
    pump_again_ = false;
    pump_once();
  } while (pump_again_);
  pumping_ = false;
}

/// Tries the first of every line, in order of arrival; what cannot start yet also keeps back what came later for the
/// same owners. A line whose owner is busy cannot start anyway, and a reading's other owners are its bench's own.
void Desk::pump_once() {
  std::vector<std::pair<std::uint64_t, std::string>> first;
  for (auto line = waiting_.begin(); line != waiting_.end();) {
    if (line->second.empty()) {
      line = waiting_.erase(line);
      continue;
    }
    const auto& waiting = line->second.front();
    if (!waiting.input.reading || !in_flight_.contains(line->first)) first.emplace_back(waiting.arrival, line->first);
    ++line;
  }
  std::sort(first.begin(), first.end());
  std::set<std::string> busy;
  if (!first.empty()) busy = in_flight_;
  for (const auto& [arrival, owner] : first) {
    Waiting waiting = std::move(waiting_[owner].front());
    waiting_[owner].pop_front();
    if (start_one(waiting, busy)) {
      busy.insert(in_flight_.begin(), in_flight_.end());
      if (!waiting_[owner].empty()) pump_again_ = pump_again_ || !in_flight_.contains(owner);
    } else {
      waiting_[owner].push_front(std::move(waiting));
    }
  }
}

std::map<std::string, Stamp> Desk::told_asks(const std::string& bench) const {
  std::map<std::string, Stamp> out;
  const auto window = windows_.find(bench);
  if (window == windows_.end()) return out;
  for (const auto& [ask, shown] : window->second.asks) {
    if (shown.told.empty()) continue;
    const Stamp* first = nullptr;
    for (const auto& [display, when] : shown.told)
      if (!first || elapsed_ns(when, *first) > 0) first = &when;
    out[ask] = *first;
  }
  return out;
}

Context Desk::context_for(const std::string& bench, std::map<std::string, Stamp>& told) const {
  told = told_asks(bench);
  Context context;
  context.started = started_;
  context.editions = &catalogue_;
  context.words = &words_;
  context.candidates = &candidates_;
  context.told = &told;
  if (const auto window = windows_.find(bench); window != windows_.end()) context.told_to_keep = window->second.to_keep;
  return context;
}

bool Desk::start_one(Waiting& waiting, std::set<std::string>& busy) {
  const auto first = first_owners(waiting.input);
  const auto any_busy = [&](const std::vector<std::string>& owners) {
    return std::any_of(owners.begin(), owners.end(), [&](const auto& owner) { return busy.contains(owner); });
  };
  const auto wait = [&](const std::vector<std::string>& owners) {
    busy.insert(owners.begin(), owners.end());
    return false;
  };
  if (any_busy(first)) return wait(first);
  std::map<std::string, Stamp> told;
  const auto context = context_for(bench_of(waiting.input), told);
  const auto ending = ends_capture(waiting.input);
  auto decision = decide(states_, ending ? *ending : waiting.input, context);
  if (!decision) {
    if (seams_.log && waiting.input.reading) seams_.log("a reading could not be decided: " + text(decision.error()));
    if (waiting.answered) waiting.answered(tl::unexpected(decision.error()));
    return true;
  }
  auto owners = first;
  owners.insert(owners.end(), decision->owners.begin(), decision->owners.end());
  if (any_busy(owners)) return wait(owners);
  if (ending) waiting.input = *ending;
  if (waiting.input.kind == "time_reached" && decision->outcome.walks.empty()) return true;   // nothing changed
  decision->owners = std::move(owners);
  propose(std::move(waiting), std::move(*decision));
  return true;
}

void Desk::propose(Waiting waiting, Decision decision) {
  Proposal proposal;
  proposal.kind = waiting.input.kind;
  proposal.rules = rules_version;
  proposal.stamp = waiting.input.stamp;
  proposal.bench = bench_of(waiting.input);
  proposal.walk = decision.walk == "this" ? "" : decision.walk;
  proposal.lot = decision.lot == "this" ? "" : decision.lot;
  proposal.gauge = decision.gauge;
  proposal.person = decision.person;
  proposal.input = to_json_text(waiting.input);
  proposal.raw = waiting.raw;
  proposal.outcome = mirror::text(decision.outcome);
  proposal.facts = decision.outcome.facts;
  proposal.attachments = decision.attachments;
  in_flight_.insert(decision.owners.begin(), decision.owners.end());
  if (decision.outcome.told)
    if (auto window = windows_.find(proposal.bench); window != windows_.end()) window->second.to_keep.reset();
  auto shared = std::make_shared<std::pair<Waiting, Decision>>(std::move(waiting), std::move(decision));
  seams_.submit(std::move(proposal), [this, shared](Expected<Key> key) {
    for (const auto& owner : shared->second.owners) in_flight_.erase(owner);
    if (key) {
      committed(shared->first, shared->second, *key);
    } else {
      if (seams_.log) seams_.log("an event was set aside: " + text(key.error()));
      if (shared->first.answered) shared->first.answered(fail("not_kept", key.error().what, key.error().where, key.error().hint));
    }
    pump();
  });
}

void Desk::committed(const Waiting& waiting, const Decision& decision, const Key& key) {
  const auto& outcome = decision.outcome;
  evolve(states_, outcome, key, waiting.input.stamp);
  last_key_ = key;
  ++since_checkpoint_;
  for (const auto& attachment : decision.attachments)
    if (outcome.editions.contains(attachment.sha256))
      if (auto edition = checklist::edition_from(attachment.bytes))
        if (auto prepared = prepare(std::move(*edition), attachment.sha256)) catalogue_[attachment.sha256] = *prepared;
  remember_facts(outcome);
  const std::string bench = bench_of(waiting.input);
  std::set<std::string> touched;
  // When a display was told is kept and changes no view.
  if (!bench.empty() && waiting.input.kind != "told") touched.insert(bench);
  for (const auto& [walk, change] : outcome.walks)
    if (const auto state = states_.walks.find(walk); state != states_.walks.end()) touched.insert(state->second.bench);
  for (const auto& [id, state] : outcome.benches) touched.insert(id);
  for (const auto& [id, gauge] : outcome.gauges)
    if (const auto state = states_.gauges.find(id); state != states_.gauges.end()) touched.insert(state->second.card.bench);
  if (!outcome.lots.empty())
    for (const auto& [id, walk] : states_.walks)
      if (outcome.lots.contains(walk.lot)) touched.insert(walk.bench);
  if (!outcome.tone.empty() && !bench.empty()) {
    windows_[bench].tone = outcome.tone;
    windows_[bench].tone_key = text(key);
  }
  for (const auto& id : touched) {
    follow_captures(id);
    refresh_view(id);
  }
  if (!outcome.ask_gauge.empty() && seams_.ask_gauge)
    if (auto asked = seams_.ask_gauge(outcome.ask_gauge); !asked) not_answered(outcome.ask_gauge, asked.error().code);
  if (!waiting.answered) return;
  json::object answer;
  answer["key"] = text(key);
  answer["what"] = outcome.what;
  if (!outcome.why.empty()) answer["why"] = outcome.why;
  if (waiting.input.kind == "open_lot") answer["lot"] = text(key);
  if (waiting.input.kind == "begin_walk") answer["walk"] = text(key);
  if (outcome.answer.is_object())
    for (const auto& member : outcome.answer.as_object()) answer[member.key()] = member.value();
  waiting.answered(std::move(answer));
}

// ---------------------------------------------------------------- loading and starting

void Desk::load(States states, Catalogue catalogue) {
  states_ = std::move(states);
  catalogue_ = std::move(catalogue);
}

Done Desk::load_checkpoint(const std::string& state) {
  boost::system::error_code code;
  const auto value = json::parse(state, code);
  if (code || !value.is_object()) return fail("cannot_read_checkpoint", "the checkpoint is no JSON object");
  if (auto done = mirror::read(value.as_object().at("states"), states_, "states"); !done) return done;
  for (auto& [key, lot] : states_.lots)
    for (const auto& [part, claim] : lot.claims)
      if (claim.end == "given_back") lot.given_back.push_back(part);
  load_answers(value.as_object().at("answers"));
  return {};
}

void Desk::load_answers(const json::value& answers) {
  if (!answers.is_array()) return;
  for (const auto& pair : answers.as_array()) {
    const std::string key(pair.as_array()[0].as_string());
    answers_[key] = pair.as_array()[1].as_object();
    answer_order_.push_back(key);
  }
}

Done Desk::replay(const Event& event) {
  auto outcome = mirror::parse<Outcome>(event.content.outcome);
  if (!outcome) return fail("cannot_read_outcome", outcome.error().what, text(event.key) + ": " + outcome.error().where);
  evolve(states_, *outcome, event.key, event.content.stamp);
  last_key_ = event.key;
  ++since_checkpoint_;
  boost::system::error_code code;
  const auto input = json::parse(event.content.input, code);
  if (!code && input.is_object())
    if (const auto* key = input.as_object().if_contains("idempotency_key"); key && key->is_string()) {
      json::object answer{{"key", text(event.key)}, {"what", outcome->what}};
      if (event.content.kind == "open_lot") answer["lot"] = text(event.key);
      if (event.content.kind == "begin_walk") answer["walk"] = text(event.key);
      if (outcome->answer.is_object())
        for (const auto& member : outcome->answer.as_object()) answer[member.key()] = member.value();
      answers_[std::string(key->as_string())] = std::move(answer);
      answer_order_.emplace_back(key->as_string());
    }
  return {};
}

void Desk::load_earlier(const Fact& fact) {
  if (fact.kind != "result" || fact.value.empty()) return;
  auto& values = surrounding_.earlier[fact.lot][fact.feature];
  const auto serial = std::strtoll(fact.serial.c_str(), nullptr, 10);
  std::erase_if(values, [&](const EarlierValue& known) { return known.serial == serial; });
  values.push_back({serial, fact.value});
  if (values.size() > earlier_kept) values.pop_front();
}

void Desk::remember_facts(const Outcome& outcome) {
  for (const auto& fact : outcome.facts) load_earlier(fact);
}

void Desk::configure(ShopWords words, std::vector<shop::GaugeCard> cards, std::vector<Candidate> candidates) {
  words_ = std::move(words);
  cards_ = std::move(cards);
  candidates_ = std::move(candidates);
  if (!running_) return;
  for (const auto& bench : words_.benches)
    if (windows_.try_emplace(bench).second) refresh_view(bench);   // a bench that came with a reload
  register_gauges();
}

void Desk::start() {
  running_ = true;
  Input input;
  input.kind = "started";
  input.stamp = seams_.now();
  for (const auto& bench : words_.benches) windows_[bench];
  take(std::move(input), {}, {});
  register_gauges();
}

void Desk::register_gauges() {
  for (const auto& card : cards_) {
    const auto known = states_.gauges.find(card.id);
    if (known != states_.gauges.end() && known->second.card == card) continue;
    Input input;
    input.kind = known == states_.gauges.end() ? "gauge_registered" : "gauge_changed";
    input.stamp = seams_.now();
    input.body["gauge"] = card.id;
    input.body["card"] = mirror::write(card);
    take(std::move(input), {}, {});
  }
  // A gauge that left the configuration stays in the register, but may not be used.
  for (const auto& [id, state] : states_.gauges) {
    const bool there = std::any_of(cards_.begin(), cards_.end(), [&, &gauge = id](const auto& card) { return card.id == gauge; });
    if (there || !state.card.may_be_used) continue;
    shop::GaugeCard card = state.card;
    card.may_be_used = false;
    card.why_not = "not in the configuration any more";
    Input input;
    input.kind = "gauge_changed";
    input.stamp = seams_.now();
    input.body["gauge"] = id;
    input.body["card"] = mirror::write(card);
    take(std::move(input), {}, {});
  }
}

std::pair<Key, std::string> Desk::checkpoint() {
  json::array answers;
  for (const auto& key : answer_order_)
    if (const auto answer = answers_.find(key); answer != answers_.end()) answers.push_back(json::array{key, answer->second});
  since_checkpoint_ = 0;
  return {last_key_, json::serialize(json::object{{"states", mirror::write(states_)}, {"answers", std::move(answers)}})};
}

// ---------------------------------------------------------------- from the edges

bool Desk::offer(Reading reading) {
  auto& line = surrounding_.lines[reading.gauge];
  line.last_heard_utc_us = reading.stamp().utc_us;
  const auto gauge = states_.gauges.find(reading.gauge);
  if (gauge == states_.gauges.end()) return false;
  const auto& card = gauge->second.card;
  const auto bench = states_.benches.find(card.bench);
  const WalkState* walk = nullptr;
  if (bench != states_.benches.end() && !bench->second.walk.empty())
    if (const auto found = states_.walks.find(bench->second.walk); found != states_.walks.end()) walk = &found->second;
  Input input;
  input.kind = "reading";
  if (reading.cause == Cause::streamed) {
    // Samples of a stream are never offered: only the end of a capture is.
    if (captures_.contains(reading.gauge)) {
      take_sample(reading);
      return true;
    }
    // Of one frame alone ("now"): the first that begins after the action.
    if (!walk || walk->standing.capture != reading.gauge) return false;
    std::map<std::string, Stamp> nothing_told;
    if (capture_rule(*walk, context_for(card.bench, nothing_told))) return false;   // begun, and not yet followed
    if (elapsed_ns(walk->standing.capture_begun, reading.frame.first) <= 0) return false;
    if (in_flight_.contains("4 gauge/" + reading.gauge) || in_flight_.contains("2 walk/" + walk->key)) return false;
    if (const auto queue = waiting_.find("1 bench/" + card.bench); queue != waiting_.end())
      for (const auto& waiting : queue->second)
        if (waiting.input.reading && waiting.input.reading->gauge == reading.gauge) return false;
    input.kind = "capture_ended";
  } else if (!walk) {
    std::map<std::string, Stamp> told;
    const auto context = context_for(card.bench, told);
    if (setting_due(gauge->second, context, reading.stamp()).empty() &&
        !in_flight_.contains("1 bench/" + card.bench)) {
      refresh_view(card.bench);
      return false;
    }
  }
  input.stamp = reading.stamp();
  input.bench = card.bench;
  std::string raw = reading.frame.bytes;
  input.reading = std::move(reading);
  take(std::move(input), std::move(raw), {});
  return true;
}

void Desk::refused(const std::string& gauge, const Refusal& refusal, const Frame& frame) {
  may_have_lost(gauge, refusal, frame);
  auto& count = refusals_[gauge];
  if (count.by_reason.empty()) {
    count.first = frame.last;
    count.first_bytes = frame.bytes.substr(0, 256);
  }
  ++count.by_reason[std::string(name(refusal.reason))];
}

void Desk::flush_refusals(const Stamp& now, bool all) {
  for (auto count = refusals_.begin(); count != refusals_.end();) {
    if (!all && elapsed_ns(count->second.first, now) < refusal_window_ns) {
      ++count;
      continue;
    }
    Input input;
    input.kind = "refusals_counted";
    input.stamp = now;
    if (!count->first.empty()) input.body["gauge"] = count->first;
    input.body["since_utc"] = utc_text(count->second.first.utc_us);
    input.body["counts"] = mirror::write(count->second.by_reason);
    if (const auto gauge = states_.gauges.find(count->first); gauge != states_.gauges.end()) input.bench = gauge->second.card.bench;
    std::string raw = std::move(count->second.first_bytes);
    count = refusals_.erase(count);
    take(std::move(input), std::move(raw), {});
  }
}

void Desk::line_changed(const std::string& gauge, const GaugeLine& line) {
  auto& known = surrounding_.lines[gauge];
  const auto usable = [](const std::string& state) { return state == "open" || state == "silent"; };
  const bool was = usable(known.port_state), is = usable(line.port_state), first = known.since_utc_us == 0;
  const auto heard = std::max(known.last_heard_utc_us, line.last_heard_utc_us);
  known = line;
  known.last_heard_utc_us = heard;
  const auto state = states_.gauges.find(gauge);
  if (state != states_.gauges.end() && was != is && !(first && is)) {
    Input input;
    input.kind = is ? "gauge_heard" : "gauge_lost";
    input.stamp = seams_.now();
    input.bench = state->second.card.bench;
    input.body["gauge"] = gauge;
    if (!line.why.empty()) input.body["why"] = line.why;
    if (!first) take(std::move(input), {}, {});
  }
  if (!is && !first) break_capture(gauge, [&](Capture& capture) { capture.port_lost(seams_.now()); }, seams_.now());
  if (state != states_.gauges.end()) refresh_view(state->second.card.bench);
}

void Desk::not_answered(const std::string& gauge, const std::string& why) {
  const auto state = states_.gauges.find(gauge);
  if (state == states_.gauges.end()) return;
  Input input;
  input.kind = "not_answered";
  input.stamp = seams_.now();
  input.bench = state->second.card.bench;
  input.body["gauge"] = gauge;
  input.body["why"] = why;
  take(std::move(input), {}, {});
}

void Desk::keeping(bool kept, const std::string& why, const std::string& hint, const std::string& code) {
  surrounding_.kept = kept;
  surrounding_.not_kept_why = why;
  surrounding_.not_kept_hint = hint;
  surrounding_.not_kept_code = code;
  for (const auto& bench : benches()) refresh_view(bench);
}

void Desk::clock(bool trusted, const std::string& why, const std::string& code) {
  if (surrounding_.clock_trusted == trusted && surrounding_.clock_why == why) return;
  surrounding_.clock_trusted = trusted;
  surrounding_.clock_why = why;
  surrounding_.clock_code = code;
  for (const auto& bench : benches()) refresh_view(bench);
}

void Desk::house_event(const std::string& kind, json::object body) {
  Input input;
  input.kind = kind;
  input.stamp = seams_.now();
  input.body = std::move(body);
  if (kind == "stopped") flush_refusals(input.stamp, true);
  take(std::move(input), {}, {});
}

void Desk::tick() {
  const Stamp now = seams_.now();
  flush_refusals(now, false);
  pass_captures(now);
  for (const auto& bench : benches()) {
    const auto state = states_.benches.find(bench);
    if (state != states_.benches.end() && !state->second.walk.empty()) {
      Input input;
      input.kind = "time_reached";
      input.stamp = now;
      input.bench = bench;
      if (!in_flight_.contains("1 bench/" + bench)) take(std::move(input), {}, {});
    }
    if (auto& window = windows_[bench]; window.to_keep && elapsed_ns(window.told_since, now) > quiet_before_told_ns) {
      Input input;
      input.kind = "told";
      input.stamp = now;
      input.bench = bench;
      take(std::move(input), {}, {});
    }
    refresh_view(bench);
  }
}

void Desk::command(Command command, Answered answered) {
  Input input;
  input.kind = std::move(command.kind);
  static const std::set<std::string> from_people = {"state_person", "open_lot", "begin_walk", "act", "type_value", "state_tool",
      "park", "take_up", "note", "set_aside", "move_reading", "change_person", "run_change", "run_release", "lift_hold", "end_walk",
      "give_up", "ask_gauge", "publish", "withdraw", "confirm_clock", "clear_suspect", "disposition", "close_lot", "release"};
  if (!from_people.contains(input.kind)) {
    if (answered) answered(fail("unknown_command", "no command \"" + input.kind + "\"", "kind", "the table of commands stands in the API's page"));
    return;
  }
  if (!command.bench.empty() && !windows_.contains(command.bench)) {
    if (answered) answered(fail("unknown_bench", "no bench \"" + command.bench + "\"", "bench"));
    return;
  }
  if (input.kind == "ask_gauge") {
    const auto* gauge = command.body.if_contains("gauge");
    if (!gauge || !gauge->is_string()) {
      if (answered) answered(fail("wrong_shape", "\"gauge\" is missing", "ask_gauge"));
      return;
    }
    const auto done = seams_.ask_gauge ? seams_.ask_gauge(std::string(gauge->as_string())) : fail("not_now", "nothing can be asked here");
    if (answered) done ? answered(json::object{{"what", "asked"}}) : answered(tl::unexpected(done.error()));
    return;
  }
  static const std::set<std::string> without_bench = {"open_lot", "run_change", "run_release", "publish", "withdraw", "confirm_clock",
      "clear_suspect", "disposition", "close_lot", "release"};
  if (command.bench.empty() && !without_bench.contains(input.kind)) {
    if (answered) answered(fail("wrong_shape", "this command is about a bench", "bench"));
    return;
  }
  input.stamp = seams_.now();
  input.bench = std::move(command.bench);
  input.saw = std::move(command.saw);
  input.idempotency_key = std::move(command.idempotency_key);
  input.display = std::move(command.display);
  input.body = std::move(command.body);
  take(std::move(input), {}, std::move(answered));
}

}  // namespace tallystick::walk
