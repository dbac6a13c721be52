#include "daemon/checklist/plan.hpp"

#include <algorithm>
#include <map>
#include <set>

namespace tallystick::checklist {
namespace {

/// Up to so many steps the plan is the cheapest there is; beyond, its search would outgrow memory.
constexpr std::size_t exact_steps = 12;

/// Widest search kept in memory: where a level of it holds more states, those with most items done go on.
constexpr std::size_t widest_level = 50;

/// The items of one part with their needs turned round: what each waits for.
class Needs {
 public:
  explicit Needs(const std::vector<PlanItem>& items) : items_(items), waits_for_(items.size()) {
    for (std::size_t i = 0; i < items.size(); ++i)
      for (const auto later : items[i].before)
        if (later < items.size() && later != i) waits_for_[later].push_back(i);
    early_.assign(items.size(), false);
    for (std::size_t i = 0; i < items.size(); ++i)
      if (items[i].first) mark_early(i);
  }

  std::size_t size() const { return items_.size(); }
  const std::string& gauge(std::size_t item) const { return items_[item].gauge; }
  bool unlocks_others(std::size_t item) const { return !items_[item].before.empty() || early_[item]; }

  bool available(std::size_t item, const std::vector<bool>& done) const {
    if (done[item]) return false;
    for (const auto needed : waits_for_[item])
      if (!done[needed]) return false;
    if (!early_[item])
      for (const auto item_before : early_items_)
        if (!done[item_before]) return false;
    return true;
  }
  /// Nothing is available although something is open: a ring.
  bool stuck(const std::vector<bool>& done) const {
    bool open = false;
    for (std::size_t i = 0; i < size(); ++i) {
      if (available(i, done)) return false;
      open = open || !done[i];
    }
    return open;
  }

 private:
  void mark_early(std::size_t item) {
    if (early_[item]) return;
    early_[item] = true;
    early_items_.push_back(item);
    for (const auto needed : waits_for_[item]) mark_early(needed);
  }

  const std::vector<PlanItem>& items_;
  std::vector<std::vector<std::size_t>> waits_for_;
  std::vector<bool> early_;
  std::vector<std::size_t> early_items_;
};

/// A part's order as far as it goes, with the gauge in hand.
struct Way {
  std::vector<std::size_t> order;
  std::vector<bool> done;
  std::string in_hand;
  std::size_t changes = 0;

  void take(std::size_t item, const Needs& needs) {
    const auto& gauge = needs.gauge(item);
    if (!gauge.empty()) {
      if (!in_hand.empty() && in_hand != gauge) ++changes;
      in_hand = gauge;
    }
    done[item] = true;
    order.push_back(item);
  }
};

std::vector<std::size_t> in_checklist_order(const Needs& needs) {
  Way way{{}, std::vector<bool>(needs.size(), false), {}, 0};
  while (way.order.size() < needs.size()) {
    const bool ring = needs.stuck(way.done);
    for (std::size_t i = 0; i < needs.size(); ++i) {
      if (way.done[i] || (!ring && !needs.available(i, way.done))) continue;
      way.take(i, needs);
      break;
    }
  }
  return way.order;
}

/// Takes all that costs no change: items of the gauge in hand, and items without a gauge where they unlock
/// others or all before them on the checklist are done.
void take_what_is_free(Way& way, const Needs& needs) {
  for (bool took = true; took;) {
    took = false;
    bool all_before_done = true;
    for (std::size_t i = 0; i < needs.size(); ++i) {
      if (way.done[i]) continue;
      const auto& gauge = needs.gauge(i);
      const bool free = gauge.empty() ? all_before_done || needs.unlocks_others(i) : gauge == way.in_hand;
      if (free && needs.available(i, way.done)) {
        way.take(i, needs);
        took = true;
      } else {
        all_before_done = false;
      }
    }
  }
}

/// The ways on from here, each with another gauge taken up (or the next gaugeless item where no gauge is
/// left).
std::vector<Way> ways_on(const Way& way, const Needs& needs) {
  std::vector<Way> out;
  std::set<std::string> tried;
  const bool ring = needs.stuck(way.done);
  for (std::size_t i = 0; i < needs.size(); ++i) {
    if (way.done[i] || (!ring && !needs.available(i, way.done))) continue;
    if (!tried.insert(needs.gauge(i)).second) continue;
    Way next = way;
    next.take(i, needs);
    take_what_is_free(next, needs);
    out.push_back(std::move(next));
    if (ring) break;
  }
  return out;
}

/// Search by number of gauge changes; ways that have done the same items with the same gauge in hand are one.
/// Doing at once what the gauge in hand can do never costs more, so only the changes branch.
std::vector<std::size_t> fewest_changes(const Needs& needs, const std::string& in_hand) {
  std::map<std::size_t, std::vector<Way>> levels;
  std::set<std::pair<std::vector<bool>, std::string>> seen;
  Way start{{}, std::vector<bool>(needs.size(), false), in_hand, 0};
  take_what_is_free(start, needs);
  levels[0].push_back(std::move(start));
  while (!levels.empty()) {
    auto ways = std::move(levels.begin()->second);
    levels.erase(levels.begin());
    if (ways.size() > widest_level) {
      std::stable_sort(ways.begin(), ways.end(),
                       [](const Way& a, const Way& b) { return a.order.size() > b.order.size(); });
      ways.resize(widest_level);
    }
    for (std::size_t i = 0; i < ways.size(); ++i) {  // grows: a gaugeless item is a way on without a change
      if (ways[i].order.size() == needs.size()) return ways[i].order;
      const auto changes = ways[i].changes;
      for (auto& next : ways_on(Way(ways[i]), needs)) {
        if (!seen.emplace(next.done, next.in_hand).second) continue;
        if (next.changes == changes) {
          ways.push_back(std::move(next));
        } else {
          levels[next.changes].push_back(std::move(next));
        }
      }
    }
  }
  return in_checklist_order(needs);
}

std::string last_gauge(const Needs& needs, const std::vector<std::size_t>& order, std::string before) {
  for (const auto item : order)
    if (!needs.gauge(item).empty()) before = needs.gauge(item);
  return before;
}

std::vector<PlanStep> part_by_part(const Needs& needs, std::size_t parts) {
  std::vector<PlanStep> steps;
  std::map<std::string, std::vector<std::size_t>> known;
  std::string in_hand;
  for (std::size_t part = 0; part < parts; ++part) {
    auto found = known.find(in_hand);
    if (found == known.end()) found = known.emplace(in_hand, fewest_changes(needs, in_hand)).first;
    for (const auto item : found->second) steps.push_back({part, item});
    in_hand = last_gauge(needs, found->second, in_hand);
  }
  return steps;
}

/// One gauge goes round all parts before the next is taken up; every second round runs backwards, so that no
/// part is changed between two rounds.
std::vector<PlanStep> gauge_by_gauge(const Needs& needs, std::size_t parts) {
  std::vector<std::vector<std::size_t>> rounds;
  std::string in_hand;
  for (const auto item : fewest_changes(needs, "")) {
    const auto& gauge = needs.gauge(item);
    if (rounds.empty() || (!gauge.empty() && !in_hand.empty() && gauge != in_hand)) rounds.emplace_back();
    if (!gauge.empty()) in_hand = gauge;
    rounds.back().push_back(item);
  }
  std::vector<PlanStep> steps;
  for (std::size_t round = 0; round < rounds.size(); ++round)
    for (std::size_t i = 0; i < parts; ++i)
      for (const auto item : rounds[round]) steps.push_back({round % 2 == 0 ? i : parts - 1 - i, item});
  return steps;
}

/// The cheapest of all orders, by the least cost still to come from each set of steps done, gauge in hand and part in
/// hand; of equally cheap orders the one that takes the earlier part and item first. Precondition: no ring, and
/// parts x items at most `exact_steps`.
class Cheapest {
 public:
  Cheapest(const Needs& needs, std::size_t parts, double part_weight)
      : needs_(needs), parts_(parts), weight_(part_weight), gauges_{""} {
    for (std::size_t item = 0; item < needs.size(); ++item) {
      auto found = std::find(gauges_.begin(), gauges_.end(), needs.gauge(item));
      gauge_of_.push_back(static_cast<std::size_t>(found - gauges_.begin()));
      if (found == gauges_.end()) gauges_.push_back(needs.gauge(item));
    }
    to_come_.assign((std::size_t{1} << (parts * needs.size())) * gauges_.size() * (parts + 1), -1.0);
  }

  std::vector<PlanStep> steps() {
    std::vector<PlanStep> out;
    State state{0, 0, parts_};
    while (out.size() < parts_ * needs_.size()) {
      const auto wanted = to_come(state);
      out.push_back(step(state, wanted));
      state = after(state, out.back()).first;
    }
    return out;
  }

 private:
  struct State {
    std::size_t done, gauge, part;   ///< part == parts_: none in hand yet
  };

  std::pair<State, double> after(const State& state, const PlanStep& step) const {
    State next{state.done | std::size_t{1} << (step.part * needs_.size() + step.item), state.gauge, step.part};
    double cost = 0;
    if (const auto gauge = gauge_of_[step.item]; gauge != 0) {
      if (state.gauge != 0 && state.gauge != gauge) cost += 1;
      next.gauge = gauge;
    }
    if (state.part != parts_ && state.part != step.part) cost += weight_;
    return {next, cost};
  }

  std::vector<PlanStep> open(const State& state) const {
    std::vector<PlanStep> out;
    for (std::size_t part = 0; part < parts_; ++part) {
      std::vector<bool> done(needs_.size());
      for (std::size_t item = 0; item < needs_.size(); ++item) done[item] = state.done >> (part * needs_.size() + item) & 1U;
      for (std::size_t item = 0; item < needs_.size(); ++item)
        if (needs_.available(item, done)) out.push_back({part, item});
    }
    return out;
  }

  double to_come(const State& state) {
    auto& known = to_come_[(state.done * gauges_.size() + state.gauge) * (parts_ + 1) + state.part];
    if (known >= 0) return known;
    double least = 0;
    bool first = true;
    for (const auto& step : open(state)) {
      const auto [next, cost] = after(state, step);
      const double whole = cost + to_come(next);
      if (first || whole < least) least = whole;
      first = false;
    }
    return known = least;   // to_come_ never grows: the reference holds
  }

  PlanStep step(const State& state, double wanted) {
    PlanStep best;
    double nearest = -1;
    for (const auto& one : open(state)) {
      const auto [next, cost] = after(state, one);
      const double over = cost + to_come(next) - wanted;   // exactly 0 for one of them at least
      if (nearest >= 0 && over >= nearest) continue;
      best = one;
      nearest = over;
    }
    return best;
  }

  const Needs& needs_;
  std::size_t parts_;
  double weight_;
  std::vector<std::string> gauges_;
  std::vector<std::size_t> gauge_of_;
  std::vector<double> to_come_;
};

bool has_ring(const Needs& needs) {
  Way way{{}, std::vector<bool>(needs.size(), false), {}, 0};
  while (way.order.size() < needs.size()) {
    if (needs.stuck(way.done)) return true;
    for (std::size_t item = 0; item < needs.size(); ++item)
      if (needs.available(item, way.done)) way.take(item, needs);
  }
  return false;
}

}  // namespace

double plan_cost(const std::vector<PlanItem>& items, const std::vector<PlanStep>& steps, double part_weight) {
  std::size_t gauge_changes = 0, part_changes = 0;
  std::string in_hand;
  for (std::size_t i = 0; i < steps.size(); ++i) {
    const auto& gauge = items[steps[i].item].gauge;
    if (!gauge.empty()) {
      if (!in_hand.empty() && gauge != in_hand) ++gauge_changes;
      in_hand = gauge;
    }
    if (i > 0 && steps[i].part != steps[i - 1].part) ++part_changes;
  }
  return static_cast<double>(gauge_changes) + part_weight * static_cast<double>(part_changes);
}

std::vector<PlanStep> checklist_order(const std::vector<PlanItem>& items, std::size_t parts) {
  const Needs needs(items);
  const auto order = in_checklist_order(needs);
  std::vector<PlanStep> steps;
  for (std::size_t part = 0; part < parts; ++part)
    for (const auto item : order) steps.push_back({part, item});
  return steps;
}

std::vector<PlanStep> plan(const std::vector<PlanItem>& items, std::size_t parts, double part_weight) {
  const Needs needs(items);
  auto best = checklist_order(items, parts);  // kept where nothing is cheaper
  auto cost = plan_cost(items, best, part_weight);
  if (parts * items.size() <= exact_steps && !has_ring(needs)) {
    auto cheapest = Cheapest(needs, parts, part_weight).steps();
    return plan_cost(items, cheapest, part_weight) < cost ? cheapest : best;
  }
  for (auto& candidate : {part_by_part(needs, parts), gauge_by_gauge(needs, parts)}) {
    const auto candidate_cost = plan_cost(items, candidate, part_weight);
    if (candidate_cost < cost) {
      best = candidate;
      cost = candidate_cost;
    }
  }
  return best;
}

bool obeys_needs(const std::vector<PlanItem>& items, std::size_t parts, const std::vector<PlanStep>& steps) {
  const Needs needs(items);
  std::vector<std::vector<bool>> done(parts, std::vector<bool>(items.size(), false));
  for (const auto& step : steps) {
    if (step.part >= parts || step.item >= items.size()) return false;
    if (!needs.available(step.item, done[step.part])) return false;
    done[step.part][step.item] = true;
  }
  return steps.size() == parts * items.size();
}

std::vector<std::size_t> plan_order(const Edition& edition, std::string_view stage,
                                    const GaugeOfFeature& gauge_of) {
  std::vector<std::size_t> asked;
  std::map<std::string, std::size_t> index_of;
  for (std::size_t i = 0; i < edition.features.size(); ++i) {
    if (edition.features[i].kind == "derived") continue;   // no step of its own
    const auto& stages = edition.features[i].stages;
    if (!stages.empty() && std::find(stages.begin(), stages.end(), stage) == stages.end()) continue;
    index_of.emplace(edition.features[i].key, asked.size());
    asked.push_back(i);
  }
  std::vector<PlanItem> items;
  for (const auto index : asked) {
    const auto& feature = edition.features[index];
    PlanItem item{gauge_of(feature), feature.tells_sizes_apart, {}};
    for (const auto& later : feature.before)
      if (const auto found = index_of.find(later); found != index_of.end())
        item.before.push_back(found->second);
    items.push_back(std::move(item));
  }
  std::vector<std::size_t> order;
  for (const auto& step : plan(items, 1, 0.0)) order.push_back(asked[step.item]);
  return order;
}

}  // namespace tallystick::checklist
