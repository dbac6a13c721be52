#include "tools/bench/invented_bench.hpp"

#include "tools/bench/commit_probe.hpp"
#include "tools/bench/plan.hpp"

namespace tallystick::bench {

namespace {

constexpr const char* bench_name = "bench-1";
constexpr const char* display_name = "bench-figures";
constexpr const char* journal = "000102030405060708090a0b0c0d0e0f";

shop::GaugeCard gauge_card() {
  shop::GaugeCard card;
  card.id = "gauge-1";
  card.name = "height gauge 1";
  card.kind = "height-gauge";
  card.bench = bench_name;
  card.port = "port-1";
  card.unit = "mm";
  card.unit_fixed = true;
  card.range_lower = "0";
  card.range_upper = "999.999";
  card.resolution = "0.001";
  card.look_time_s = 0;
  card.look_time_after_reject_s = 0;
  card.repeat_window_s = 0;
  return card;
}

walk::Candidate edition(std::size_t places) {
  checklist::Feature feature;
  feature.key = "length";
  feature.balloon = "3";
  feature.name = "overall length";
  feature.kind = "reading";
  feature.feature_class = "major";
  feature.unit = "mm";
  feature.nominal = "500";
  feature.lower = "1";
  feature.upper = "999";
  feature.plausible_lower = "0";
  feature.plausible_upper = "1000";
  feature.decimals = 3;
  feature.gauge_kind = "height-gauge";
  walk::Candidate out;
  for (std::size_t place = 1; place <= places; ++place) {
    if (places > 1) {
      feature.key = "length-" + std::to_string(place);
      feature.balloon = "3." + std::to_string(place);
    }
    out.edition.features.push_back(feature);
  }
  out.edition.family = "fb";
  out.edition.size = "FB-25";
  out.edition.print_revision = "C";
  out.edition.part_number = "FB-25-C";
  out.edition.title = "Flanged bushing for winches (invented data)";
  return out;
}

}  // namespace

InventedBench::InventedBench(std::size_t places, bool keep_proposals)
    : keep_proposals_(keep_proposals),
      now_{1'795'600'000'000'000, 1'000'000'000, "0123456789abcdef0123456789abcdef", "trusted"} {
  walk::DeskSeams seams;
  seams.now = [this] { return advance(); };
  seams.submit = [this](Proposal proposal, std::function<void(Expected<Key>)> committed) {
    if (keep_proposals_) proposals.push_back(std::move(proposal));
    waiting_.push_back(std::move(committed));
  };
  desk_ = std::make_unique<walk::Desk>(std::move(seams));
  words_.benches = {bench_name};
  desk_->configure(words_, {gauge_card()}, {edition(places)});
  desk_->start();
  settle();
  desk_->display_came(bench_name, display_name);
  settle();
  command("publish", {{"family", "fb"}, {"person", "J. Okoro"}, {"reason", "first issue"}});
  command("state_person", {{"person", "R. Field"}});
  const auto lot =
      command("open_lot",
              {{"lot_name", "L-1"}, {"family", "fb"}, {"size", "FB-25"}, {"first", 1}, {"last", 1'000'000}});
  command("begin_walk", {{"lot", lot.at("lot")}, {"stage", "final"}});
}

Stamp InventedBench::advance() {
  now_.utc_us += 1000;
  now_.steady_ns += 1'000'000;
  return now_;
}

const walk::WalkState& InventedBench::walk() const {
  const auto& states = desk_->states();
  return states.walks.at(states.benches.at(bench_name).walk);
}

void InventedBench::settle() {
  while (!waiting_.empty()) {
    auto committed = std::move(waiting_.front());
    waiting_.pop_front();
    committed(Key{journal, ++seq_});
  }
  tell();
}

void InventedBench::tell() {
  const auto view = desk_->view(bench_name);
  if (const auto* object = view.if_object())
    if (const auto* sequence = object->if_contains("sequence"))
      desk_->told(bench_name, display_name, sequence->to_number<std::uint64_t>(), advance());
}

boost::json::object InventedBench::command(const std::string& kind, boost::json::object body) {
  walk::Command command;
  command.kind = kind;
  command.bench = bench_name;
  command.idempotency_key = "key-" + std::to_string(++keys_);
  command.body = std::move(body);
  boost::json::object answer;
  desk_->command(std::move(command), [&](const Expected<boost::json::object>& given) {
    if (!given) give_up("the invented bench: " + kind + ": " + text(given.error()));
    answer = *given;
  });
  settle();
  return answer;
}

Reading InventedBench::reading() {
  const std::string line = press_line(pressed_++);
  Reading out;
  out.gauge = "gauge-1";
  out.port = "port-1";
  out.decoded.value_text = line.substr(1, 7);
  const auto quantity = Quantity::parse(out.decoded.value_text, *Unit::named("mm"));
  if (!quantity) give_up("the invented bench: " + text(quantity.error()));
  out.decoded.quantity = *quantity;
  out.frame.bytes = line;
  out.frame.first = out.frame.last = advance();
  return out;
}

void InventedBench::press() {
  desk_->offer(reading());
  settle();
}

}  // namespace tallystick::bench
