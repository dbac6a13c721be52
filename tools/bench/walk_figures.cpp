#include "tools/bench/invented_bench.hpp"
#include "tools/bench/pure.hpp"

namespace tallystick::bench {

namespace {

constexpr std::uint64_t presses_a_turn = 200, later = 2000;

/// One reading after the other through decide and evolve alone, on a state that a desk has made. Only those
/// two are timed: reading, ask and key are made outside.
class BareRules {
 public:
  explicit BareRules(std::size_t places) : bench_(places), states_(bench_.desk().states()) {
    walk_ = bench_.walk().key;
    context_.editions = &bench_.desk().catalogue();
    context_.words = &bench_.words();
    context_.candidates = &candidates_;
    context_.told = &told_;
  }

  double nanoseconds_a_reading(std::uint64_t count) {
    std::int64_t spent = 0;
    for (std::uint64_t turn = 0; turn < count; ++turn) {
      told_.clear();
      told_[walk::present_ask(states_.walks.at(walk_))] = bench_.advance();
      walk::Input input;
      input.kind = "reading";
      input.bench = "bench-1";
      input.reading = bench_.reading();
      input.stamp = input.reading->stamp();
      const Key key{"000102030405060708090a0b0c0d0e0f", ++seq_};
      const auto begin = cpu_ns();
      const auto decision = walk::decide(states_, input, context_);
      if (decision) walk::evolve(states_, decision->outcome, key, input.stamp);
      spent += cpu_ns() - begin;
      if (!decision) give_up("decide: " + text(decision.error()));
      if (decision->outcome.what != "counted")
        give_up("decide: a reading was " + decision->outcome.what + " " + decision->outcome.why);
    }
    return static_cast<double>(spent) / static_cast<double>(count);
  }

 private:
  InventedBench bench_;
  walk::States states_;
  walk::Context context_;
  std::vector<walk::Candidate> candidates_;
  std::map<std::string, Stamp> told_;
  std::string walk_;
  std::uint64_t seq_ = 1'000'000;
};

constexpr std::uint64_t measured_at_once = 1000;

/// A new walk for each pair: what a reading costs must be told together with how many came before it.
void rules(const char* figure, std::size_t places, std::uint64_t before, const Effort& effort) {
  boost::json::array ours;
  for (int pair = 0; pair < effort.pairs; ++pair) {
    BareRules bare(places);
    bare.nanoseconds_a_reading(before);
    ours.push_back(bare.nanoseconds_a_reading(measured_at_once));
  }
  print({{"figure", figure},
         {"before", before},
         {"ours_ns", std::move(ours)},
         {"floor_ns", boost::json::array{}}});
}

void whole_desk(const char* figure, std::size_t places, const Effort& effort) {
  const auto bench = std::make_shared<InventedBench>(places);
  compare(figure, effort,
          [bench]() -> std::uint64_t {
            for (std::uint64_t turn = 0; turn < presses_a_turn; ++turn) bench->press();
            return presses_a_turn;
          },
          {});
}

}  // namespace

void walk_figures(const Effort& effort) {
  rules("decide_evolve", 12, 100, effort);
  rules("decide_evolve_part_a_reading", 1, 100, effort);
  rules("decide_evolve_later", 1, later, effort);
  whole_desk("desk", 12, effort);
}

std::vector<Proposal> pressed_proposals(std::size_t count) {
  InventedBench bench(12, true);
  while (bench.proposals.size() < count) bench.press();
  bench.proposals.resize(count);
  return std::move(bench.proposals);
}

}  // namespace tallystick::bench
