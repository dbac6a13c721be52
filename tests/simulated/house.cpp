#include "tests/simulated/house.hpp"

#include "tests/walk/fixture.hpp"

namespace tallystick::simulated {

namespace {

rig::Setup setup_of(const Scenario& scenario) {
  rig::Setup out;
  out.words.retake_reasons = {"dirt", "suspect"};
  out.words.pass_reasons = {"no gauge at hand"};
  out.words.set_aside_reasons = {"not this part"};
  out.words.run_changes = {{"tool", "first_part_and_release"}, {"wear_offset", "features_named"}};
  out.words.tools = {{"plug-1", "plug", true, ""}};
  for (int bench = 1; bench <= scenario.benches; ++bench) {
    const std::string n = std::to_string(bench), name = "bench-" + n;
    out.words.benches.push_back(name);
    out.cards.push_back(rig::card("height-" + n, "height-gauge", "0", "300", name));
    if (scenario.height_is_asked) out.cards.back().speaks = "asked";
    out.cards.push_back(rig::card("micrometer-" + n, "micrometer", "25", "50", name));
    out.cards.push_back(rig::card("bore-" + n, "bore-gauge", "24", "26", name));
    out.cards.back().reads = "difference";
    out.cards.back().setting.master = "ring-25";
    out.cards.back().setting.size = "25.002";
    out.cards.back().setting.limit = "0.002";
    out.cards.back().setting.parts = 2;
    out.cards.push_back(rig::card("lever-" + n, "indicator", "-1", "1", name));
    out.cards.back().speaks = "streams";
    out.cards.push_back(rig::card("caliper-" + n, "caliper", "0", "150", name));
  }
  for (const std::string size : {"sim-30", "sim-30l"}) {
    checklist::Edition edition;
    edition.family = "sim";
    edition.size = size;
    edition.print_revision = "a";
    edition.part_number = "inv-" + size;
    edition.title = "simulated bushing (invented)";
    edition.after_reject = scenario.after_reject;
    edition.next_part = scenario.next_part;
    if (scenario.tray > 0) edition.walk_order = "by_feature", edition.tray = scenario.tray;
    for (const auto& print : scenario.prints) {
      checklist::Feature feature;
      feature.key = feature.name = print.key;
      feature.balloon = std::to_string(edition.features.size() + 1);
      feature.kind = print.kind;
      feature.feature_class = "major";
      feature.question_good = feature.question_no_go = "as it should be?";
      if (print.kind == "go_no_go") feature.tool = "plug";
      if (!print.gauge_kind.empty()) {
        const Millionths longer = size == "sim-30l" && print.key == "length" ? 2'000'000 : 0;
        feature.unit = "mm";
        if (print.has_lower) feature.lower = decimal(print.lower + longer);
        feature.upper = decimal(print.upper + longer);
        feature.plausible_lower = decimal(print.plausible_lower + longer);
        feature.plausible_upper = decimal(print.plausible_upper + longer);
        feature.gauge_kind = print.gauge_kind;
        feature.tells_sizes_apart = print.key == "length";
        for (int place = 0; place < print.places && print.places > 1; ++place) feature.places.push_back("place-" + std::to_string(place));
        if (print.mean) feature.reduction = "mean";
        if (print.kind == "capture") feature.capture = "now";
        feature.zero_plausible = print.kind == "capture";
      }
      edition.features.push_back(std::move(feature));
    }
    out.candidates.push_back({std::move(edition), {}});
  }
  return out;
}

}  // namespace

json::value at(const json::value& from, std::string_view path) { return rig::at(from, path); }
std::string text_at(const json::value& from, std::string_view path) { return rig::text_at(from, path); }

struct House::Inside {
  explicit Inside(rig::Setup given) : setup(std::move(given)) {}
  rig::Setup setup;
  rig::FakeClock clock;
  rig::FakeWriter writer;
  std::unique_ptr<walk::Desk> desk;
  std::vector<std::string> asked;
  std::map<std::string, std::string> displays;       // bench -> name
  std::map<std::string, json::value> screens;
  std::vector<Entry> entries;
  int display_count = 0;

  void wake() {
    walk::DeskSeams seams;
    seams.now = [this] { return clock.now(); };
    seams.submit = [this](Proposal proposal, rig::FakeWriter::Committed committed) { writer.submit(std::move(proposal), std::move(committed)); };
    seams.ask_gauge = [this](const std::string& gauge) -> Done {
      asked.push_back(gauge);
      return {};
    };
    desk = std::make_unique<walk::Desk>(std::move(seams));
    walk::Catalogue catalogue;
    for (const auto& [sha, bytes] : writer.blobs())
      if (auto edition = checklist::edition_from(bytes))
        if (auto ready = walk::prepare(std::move(*edition), sha)) catalogue[sha] = *ready;
    desk->load({}, std::move(catalogue));
    for (const auto& event : writer.journal()) REQUIRE(desk->replay(event));
    desk->configure(setup.words, setup.cards, setup.candidates);
    desk->start();
  }
};

House::House(const Scenario& scenario) : dice(scenario.seed * 31 + 5), inside_(std::make_unique<Inside>(setup_of(scenario))) {
  inside_->wake();
  commit_all();
}
House::~House() = default;

walk::DeskDoor& House::desk() { return *inside_->desk; }
Stamp House::now() const { return inside_->clock.now(); }
void House::advance(double seconds) { inside_->clock.advance(seconds); }
void House::step_clock(double seconds) {
  inside_->clock.step_utc(seconds);
  inside_->desk->house_event("clock_stepped", {{"by_us", static_cast<std::int64_t>(seconds * 1e6)}});
}

Sent House::stamped(Sent given) const {
  given.steady_ns = now().steady_ns;
  given.boot = now().boot;
  return given;
}

void House::offer(const Sent& given) {
  Reading reading;
  reading.gauge = given.gauge;
  reading.port = "port-" + given.gauge;
  const auto value = Quantity::parse(given.value, *Unit::named("mm"));
  REQUIRE(value);
  reading.decoded.quantity = *value;
  reading.decoded.value_text = given.value;
  reading.decoded.unit_in_frame = given.frame_has_unit;
  reading.cause = given.streamed ? Cause::streamed : Cause::pushed;
  reading.frame.bytes = given.value + "\r\n";
  reading.frame.first = now();
  reading.frame.first.steady_ns = given.steady_ns;
  reading.frame.first.boot = given.boot;
  reading.frame.last = reading.frame.first;
  sent.push_back(given);
  inside_->desk->offer(std::move(reading));
}

void House::press(Sent given) { offer(stamped(std::move(given))); }

void House::refuse(const std::string& gauge, const std::string& bytes) {
  Frame frame;
  frame.bytes = bytes;
  frame.first = frame.last = now();
  inside_->desk->refused(gauge, {RefusalReason::incomplete, "cut short"}, frame);
}

void House::silence(const std::string& gauge, bool silent) {
  walk::GaugeLine line;
  line.port_state = silent ? "lost" : "open";
  line.since_utc_us = now().utc_us;
  inside_->desk->line_changed(gauge, line);
}
void House::not_answered(const std::string& gauge) { inside_->desk->not_answered(gauge, "no_reply"); }

std::vector<std::string> House::take_asked() { return std::exchange(inside_->asked, {}); }

void House::commit_some(double how_many) {
  while (inside_->writer.waiting() > 0 && how_many > 0) {
    if (how_many < 1 && !dice.chance(how_many)) return;
    inside_->writer.commit_one();
    how_many -= 1;
  }
}
void House::commit_all() {
  while (inside_->writer.waiting() > 0) inside_->writer.commit_one();
}
bool House::set_one_aside() {
  if (inside_->writer.waiting() == 0) return false;
  inside_->writer.set_one_aside();
  return true;
}
std::size_t House::waiting() const { return inside_->writer.waiting(); }

void House::display_comes(const std::string& bench) {
  if (has_display(bench)) return;
  inside_->displays[bench] = "display-" + std::to_string(++inside_->display_count);
  inside_->desk->display_came(bench, inside_->displays[bench]);
}
void House::display_goes(const std::string& bench) {
  if (!has_display(bench)) return;
  const auto name = inside_->displays.at(bench);
  inside_->displays.erase(bench);
  inside_->screens.erase(bench);
  inside_->desk->display_went(bench, name);
}
bool House::has_display(const std::string& bench) const { return inside_->displays.contains(bench); }

void House::tell(const std::string& bench) {
  if (!has_display(bench)) return;
  auto view = inside_->desk->view(bench);
  auto& screen = inside_->screens[bench];
  if (!screen.is_null() && screen == view) return;
  screen = std::move(view);
  inside_->desk->told(bench, inside_->displays.at(bench), screen.as_object().at("sequence").to_number<std::uint64_t>(), now());
  watch_screen(bench);
}

/// What is shown or sounded names an event that is durable already.
void House::watch_screen(const std::string& bench) {
  const auto& screen = inside_->screens[bench];
  for (const char* member : {"last.key", "sound.key", "hold.key", "walk.key", "walk.part"}) {
    const auto key = text_at(screen, member);
    if (key.empty()) continue;
    const auto known = key_from(key.substr(0, key.find('.')));   // where one event began several parts, the serial stands behind
    if (!known || known->seq > inside_->writer.journal().size())
      complaints.push_back("shown before it was durable: " + std::string(member) + " " + key + " at " + bench);
  }
  if (const auto key = text_at(screen, "last.key"); !key.empty()) told_keys.insert(key);
}

const json::value& House::screen(const std::string& bench) const {
  static const json::value nothing;
  const auto found = inside_->screens.find(bench);
  return found == inside_->screens.end() ? nothing : found->second;
}

void House::restart(std::size_t kept_unheard, bool new_boot) {
  for (; kept_unheard > 0 && inside_->writer.waiting() > 0; --kept_unheard) {
    inside_->writer.keep_one_unheard();
    ++counters["committed and not acknowledged"];
  }
  if (inside_->writer.waiting() > 0) ++counters["lost with the daemon"];
  inside_->writer.forget_all();
  inside_->displays.clear();
  inside_->screens.clear();
  inside_->asked.clear();
  if (new_boot) inside_->clock.new_boot();
  inside_->wake();
}

void House::tick() { inside_->desk->tick(); }

void House::withdraw_and_publish() {
  auto& candidate = inside_->setup.candidates[0].edition;
  candidate.title += ".";
  inside_->desk->configure(inside_->setup.words, inside_->setup.cards, inside_->setup.candidates);
}

const std::vector<Entry>& House::journal() {
  const auto& journal = inside_->writer.journal();
  for (auto n = inside_->entries.size(); n < journal.size(); ++n) {
    const auto& content = journal[n].content;
    Entry entry{text(journal[n].key), content.kind, content.bench, content.walk, content.lot, content.gauge, content.raw,
                content.stamp.boot, content.stamp.steady_ns, content.stamp.utc_us, json::parse(content.input).as_object(),
                json::parse(content.outcome).as_object()};
    inside_->entries.push_back(std::move(entry));
  }
  return inside_->entries;
}

std::string House::states_text() const { return mirror::text(inside_->desk->states()); }
std::string House::replayed_text() const {
  walk::States states;
  for (const auto& event : inside_->writer.journal()) walk::evolve(states, rig::outcome_of(event), event.key, event.content.stamp);
  return mirror::text(states);
}

void House::command(walk::Command command, std::function<void(Expected<json::object>)> answered) {
  const std::string key = command.idempotency_key;
  if (!key.empty()) commands.try_emplace(key, false);
  inside_->desk->command(std::move(command), [this, key, answered = std::move(answered)](Expected<json::object> answer) {
    if (answer && !key.empty()) {
      commands[key] = true;
      // Acknowledged means durable.
      const auto event = key_from(text_at(*answer, "key"));
      if (!event || event->seq > inside_->writer.journal().size())
        complaints.push_back("answered before it was durable: " + key);
      else if (const auto& input = inside_->writer.journal()[event->seq - 1].content.input; input.find("\"" + key + "\"") == std::string::npos)
        complaints.push_back("the answer to " + key + " names another event");
    }
    if (answered) answered(std::move(answer));
  });
}

}  // namespace tallystick::simulated
