// The desk on a clock that moves only when told, a writer that commits only when told, and displays that say
// at once what they were told: all that a test of the rules needs. Every event of every run is also read back
// from its JSON when a rig ends: the states that come of the journal alone must be those of the live run,
// byte for byte.
#pragma once

#include <doctest/doctest.h>

#include <deque>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/walk/desk.hpp"

namespace tallystick::rig {

namespace json = boost::json;
using walk::Outcome;

inline constexpr const char* journal_id = "000102030405060708090a0b0c0d0e0f";

class FakeClock {
 public:
  Stamp now() const { return now_; }
  void advance(double seconds) {
    const auto ns = static_cast<std::int64_t>(seconds * 1e9);
    now_.steady_ns += ns;
    now_.utc_us += ns / 1000;
  }
  /// UTC alone jumps: what a correction of the wall clock does.
  void step_utc(double seconds) { now_.utc_us += static_cast<std::int64_t>(seconds * 1e6); }
  void new_boot() {
    now_.boot = std::string(31, '0') + std::to_string(++boots_ % 10);
    now_.steady_ns = 1'000'000'000;
  }

 private:
  int boots_ = 1;
  Stamp now_{1'795'500'000'000'000, 50'000'000'000, std::string(31, '0') + "1", "trusted"};
};

/// Keeps what it is given and commits it when told. Blobs as the record keeps them.
class FakeWriter {
 public:
  using Committed = std::function<void(Expected<Key>)>;

  void submit(Proposal proposal, Committed committed) {
    queue_.emplace_back(std::move(proposal), std::move(committed));
  }
  std::size_t waiting() const { return queue_.size(); }
  const Proposal& first() const { return queue_.front().first; }

  /// The first that waits becomes durable and is answered.
  void commit_one() {
    auto [proposal, committed] = take();
    const Key key = keep(std::move(proposal));
    committed(key);
  }
  /// The first becomes durable, and the daemon dies before it hears of it.
  void keep_one_unheard() {
    auto [proposal, committed] = take();
    keep(std::move(proposal));
  }
  /// The record sets the first aside: it never becomes an event.
  void set_one_aside() {
    auto [proposal, committed] = take();
    committed(fail("constraint", "set aside by the test", "event"));
  }
  /// What waits is lost with the daemon.
  void forget_all() { queue_.clear(); }

  const std::vector<Event>& journal() const { return journal_; }
  const std::map<std::string, std::string>& blobs() const { return blobs_; }

 private:
  std::pair<Proposal, Committed> take() {
    REQUIRE(!queue_.empty());
    auto first = std::move(queue_.front());
    queue_.pop_front();
    return first;
  }
  Key keep(Proposal proposal) {
    for (const auto& attachment : proposal.attachments) blobs_[attachment.sha256] = attachment.bytes;
    Event event;
    event.key = {journal_id, journal_.size() + 1};
    event.branch = 1;
    event.content = std::move(proposal);
    journal_.push_back(std::move(event));
    return journal_.back().key;
  }

  std::deque<std::pair<Proposal, Committed>> queue_;
  std::vector<Event> journal_;
  std::map<std::string, std::string> blobs_;
};

/// What the configuration says in a test.
struct Setup {
  walk::ShopWords words;
  std::vector<shop::GaugeCard> cards;
  std::vector<walk::Candidate> candidates;
};

inline Outcome outcome_of(const Event& event) {
  auto outcome = mirror::parse<Outcome>(event.content.outcome, true);
  REQUIRE_MESSAGE(outcome, event.content.outcome);
  return *outcome;
}

/// A view's member by path ("step.feature"); null where there is none.
inline json::value at(const json::value& from, std::string_view path) {
  const json::value* value = &from;
  while (!path.empty()) {
    const auto dot = path.find('.');
    if (!value->is_object()) return nullptr;
    const auto* member = value->as_object().if_contains(path.substr(0, dot));
    if (!member) return nullptr;
    value = member;
    path = dot == std::string_view::npos ? std::string_view() : path.substr(dot + 1);
  }
  return *value;
}
inline std::string text_at(const json::value& from, std::string_view path) {
  const auto value = at(from, path);
  if (value.is_null()) return "";
  return value.is_string() ? std::string(value.as_string()) : json::serialize(value);
}

class Rig {
 public:
  explicit Rig(Setup given) : setup(std::move(given)) { wake(); }
  Rig(const Rig&) = delete;
  Rig& operator=(const Rig&) = delete;
  ~Rig() {
    if (check_replay) CHECK(mirror::text(replayed()) == mirror::text(desk->states()));
  }

  Setup setup;
  FakeClock clock;
  FakeWriter writer;
  std::unique_ptr<walk::Desk> desk;
  std::vector<std::string> asked;  ///< gauges that were asked, in order
  std::vector<std::string> log;
  double pause = 3;   ///< before each press or action: longer than any look time
  bool tells = true;  ///< displays say at once what was written to them
  bool check_replay = true;
  std::string bench = "bench-1";

  /// The states that the journal's outcomes give, read from their JSON.
  walk::States replayed() const {
    walk::States states;
    for (const auto& event : writer.journal())
      walk::evolve(states, outcome_of(event), event.key, event.content.stamp);
    return states;
  }

  // ---- the edges
  /// Commits everything, and lets the displays tell what came of it.
  void settle() {
    while (writer.waiting() > 0) {
      writer.commit_one();
      if (tells) tell();
    }
    if (tells) tell();
  }
  void tell() {
    for (const auto& [name, bench_of_display] : displays_) tell(name, bench_of_display);
  }
  void tell(const std::string& display, const std::string& of_bench) {
    const auto sequence = desk->view(of_bench).as_object().at("sequence").to_number<std::uint64_t>();
    if (told_[display] == sequence) return;
    told_[display] = sequence;
    desk->told(of_bench, display, sequence, clock.now());
  }
  void display_comes(const std::string& name, const std::string& to = "bench-1") {
    displays_[name] = to;
    desk->display_came(to, name);
    settle();
  }
  void display_goes(const std::string& name) {
    const auto from = displays_.at(name);
    displays_.erase(name);
    told_.erase(name);
    desk->display_went(from, name);
    settle();
  }
  void tick(double seconds = 1) {
    clock.advance(seconds);
    desk->tick();
    settle();
  }

  Reading reading(const std::string& gauge, const std::string& value, const std::string& unit = "",
                  bool unit_in_frame = true, Cause cause = Cause::pushed) const {
    Reading out;
    out.gauge = gauge;
    out.port = "port-" + gauge;
    const auto named = Unit::named(unit.empty() ? "mm" : unit);
    REQUIRE(named);
    const auto quantity = Quantity::parse(value, *named);
    REQUIRE(quantity);
    out.decoded.quantity = *quantity;
    out.decoded.value_text = value;
    out.decoded.unit_in_frame = unit_in_frame;
    out.cause = cause;
    out.frame.bytes = value + "\r\n";
    out.frame.first = out.frame.last = clock.now();
    return out;
  }
  /// Hands a reading in and leaves the writer alone.
  void send(const std::string& gauge, const std::string& value, const std::string& unit = "",
            bool unit_in_frame = true) {
    desk->offer(reading(gauge, value, unit, unit_in_frame));
  }
  /// A press after a pause; what became of it. `what` is "" where nothing was kept.
  Outcome press(const std::string& gauge, const std::string& value, const std::string& unit = "",
                bool unit_in_frame = true) {
    clock.advance(pause);
    return press_now(gauge, value, unit, unit_in_frame);
  }
  Outcome press_now(const std::string& gauge, const std::string& value, const std::string& unit = "",
                    bool unit_in_frame = true) {
    const auto before = writer.journal().size();
    send(gauge, value, unit, unit_in_frame);
    settle();
    return newest("reading", before);
  }
  /// A frame of a stream: two are sent, as a stream would (the first begins a capture's end).
  Outcome stream(const std::string& gauge, const std::string& value, double after = 3) {
    clock.advance(after);
    const auto before = writer.journal().size();
    desk->offer(reading(gauge, value, "", true, Cause::streamed));
    settle();
    return newest("capture_ended", before);
  }

  using Answer = Expected<json::object>;
  /// A command as a page sends it: with what it shows and a fresh idempotency key.
  walk::Command prepared(const std::string& kind, json::object body = {}) {
    walk::Command command;
    command.kind = kind;
    command.bench = bench;
    const auto view = desk->view(bench);
    command.saw.walk = text_at(view, "walk.key");
    command.saw.part = text_at(view, "walk.part");
    command.saw.ask = text_at(view, "ask");
    if (command.saw.walk.empty()) command.saw = {};
    command.idempotency_key = "key-" + std::to_string(++keys_);
    command.body = std::move(body);
    return command;
  }
  Answer send_command(walk::Command command) {
    Answer answer = fail("unanswered", "no answer came");
    int answers = 0;
    desk->command(std::move(command), [&](Answer given) {
      answer = std::move(given);
      ++answers;
    });
    settle();
    CHECK(answers == 1);
    return answer;
  }
  Answer command(const std::string& kind, json::object body = {}) {
    clock.advance(pause);
    return send_command(prepared(kind, std::move(body)));
  }
  Answer act(const std::string& action, const std::string& reason = "") {
    json::object body{{"action", action}};
    if (!reason.empty()) body["reason"] = reason;
    return command("act", std::move(body));
  }
  /// The command succeeds; its answer.
  json::object done(const std::string& kind, json::object body = {}) {
    const auto answer = command(kind, std::move(body));
    REQUIRE_MESSAGE(answer, answer.error().code << ": " << answer.error().what);
    return *answer;
  }
  std::string refused(const std::string& kind, json::object body = {}) {
    const auto answer = command(kind, std::move(body));
    return answer ? "" : answer.error().code;
  }
  /// The action succeeds and does this.
  std::string did(const std::string& action, const std::string& reason = "") {
    const auto answer = act(action, reason);
    if (!answer) return "refused: " + answer.error().code;
    return text_at(*answer, "what");
  }

  // ---- what is there
  json::value view() const { return desk->view(bench); }
  std::string see(std::string_view path) const { return text_at(view(), path); }
  const walk::WalkState& walk_state() const {
    const auto& states = desk->states();
    return states.walks.at(states.benches.at(bench).walk);
  }
  const walk::LotState& lot() const { return desk->states().lots.at(lot_key); }
  const walk::GaugeState& gauge(const std::string& id) const { return desk->states().gauges.at(id); }
  Outcome newest(const std::string& kind, std::size_t from = 0) const {
    for (auto event = writer.journal().size(); event-- > from;)
      if (writer.journal()[event].content.kind == kind) return outcome_of(writer.journal()[event]);
    return {};
  }
  std::size_t count(const std::string& kind) const {
    std::size_t out = 0;
    for (const auto& event : writer.journal())
      out += event.content.kind == kind ? std::size_t{1} : std::size_t{0};
    return out;
  }
  std::vector<Fact> facts(const std::string& kind = "") const {
    std::vector<Fact> out;
    for (const auto& event : writer.journal())
      for (const auto& fact : outcome_of(event).facts)
        if (kind.empty() || fact.kind == kind) out.push_back(fact);
    return out;
  }
  Fact last_fact(const std::string& kind = "result") const {
    const auto all = facts(kind);
    REQUIRE(!all.empty());
    return all.back();
  }

  // ---- the daemon
  /// The daemon is killed and comes again; what the writer still holds is lost.
  void restart(bool new_boot = false) {
    writer.forget_all();
    displays_.clear();
    told_.clear();
    if (new_boot) clock.new_boot();
    wake();
  }

  std::string lot_key, walk_key;

 private:
  void wake() {
    walk::DeskSeams seams;
    seams.now = [this] { return clock.now(); };
    seams.submit = [this](Proposal proposal, FakeWriter::Committed committed) {
      writer.submit(std::move(proposal), std::move(committed));
    };
    seams.ask_gauge = [this](const std::string& gauge) -> Done {
      asked.push_back(gauge);
      return {};
    };
    seams.log = [this](const std::string& line) { log.push_back(line); };
    desk = std::make_unique<walk::Desk>(std::move(seams));
    walk::Catalogue catalogue;
    for (const auto& [sha, bytes] : writer.blobs())
      if (auto edition = checklist::edition_from(bytes))
        if (auto ready = walk::prepare(std::move(*edition), sha)) catalogue[sha] = *ready;
    desk->load({}, std::move(catalogue));
    for (const auto& event : writer.journal()) REQUIRE(desk->replay(event));
    desk->configure(setup.words, setup.cards, setup.candidates);
    desk->start();
    settle();
  }

  std::map<std::string, std::string> displays_;
  std::map<std::string, std::uint64_t> told_;
  int keys_ = 0;
};

}  // namespace tallystick::rig
