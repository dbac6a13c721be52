#include "daemon/checklist/plan.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <random>

using namespace tallystick::checklist;

namespace {

/// A large case from a seed: needs always point forward in a hidden order, so they form no ring.
std::vector<PlanItem> large_case(std::mt19937& draw, std::size_t count) {
  const auto below = [&](std::size_t n) {
    return std::uniform_int_distribution<std::size_t>(0, n - 1)(draw);
  };
  const auto gauges = 2 + below(8);
  std::vector<std::size_t> hidden(count);
  for (std::size_t i = 0; i < count; ++i) hidden[i] = i;
  std::shuffle(hidden.begin(), hidden.end(), draw);
  std::vector<PlanItem> items(count);
  for (auto& item : items) {
    if (below(6) != 0) item.gauge = "gauge-" + std::to_string(below(gauges));
    item.first = below(20) == 0;
  }
  for (std::size_t n = 0; n < count; ++n) {
    const auto a = below(count), b = below(count);
    if (a < b && below(2) == 0) items[hidden[a]].before.push_back(hidden[b]);
  }
  return items;
}

std::vector<std::size_t> items_of(const std::vector<PlanStep>& steps) {
  std::vector<std::size_t> out;
  for (const auto& step : steps) out.push_back(step.item);
  return out;
}

/// The least cost of every order there is, tried one by one. Includes nothing of the planner but the cost's definition
/// said anew: a change of gauge is 1, a change of part is `weight`.
class BruteForce {
 public:
  BruteForce(const std::vector<PlanItem>& items, std::size_t parts, double weight) : items_(items), parts_(parts), weight_(weight) {
    done_.assign(parts * items.size(), false);
    go(0, "", parts, 0);
  }
  double least = 1e9;
  std::size_t orders = 0;

 private:
  bool waits(std::size_t part, std::size_t item) const {
    for (std::size_t other = 0; other < items_.size(); ++other) {
      if (done_[part * items_.size() + other] || other == item) continue;
      const auto& before = items_[other].before;
      if (std::find(before.begin(), before.end(), item) != before.end()) return true;
      if (early(other) && !early(item)) return true;
    }
    return false;
  }
  /// Marked first, or needed by one that is.
  bool early(std::size_t item) const {
    if (items_[item].first) return true;
    return std::any_of(items_[item].before.begin(), items_[item].before.end(), [&](std::size_t later) { return early(later); });
  }
  void go(std::size_t taken, const std::string& gauge, std::size_t part_in_hand, double cost) {
    if (taken == done_.size()) {
      ++orders;
      least = std::min(least, cost);
      return;
    }
    for (std::size_t part = 0; part < parts_; ++part)
      for (std::size_t item = 0; item < items_.size(); ++item) {
        if (done_[part * items_.size() + item] || waits(part, item)) continue;
        const auto& needed = items_[item].gauge;
        const double more = (!needed.empty() && !gauge.empty() && needed != gauge ? 1.0 : 0.0) +
                            (part_in_hand != parts_ && part_in_hand != part ? weight_ : 0.0);
        done_[part * items_.size() + item] = true;
        go(taken + 1, needed.empty() ? gauge : needed, part, cost + more);
        done_[part * items_.size() + item] = false;
      }
  }
  const std::vector<PlanItem>& items_;
  std::size_t parts_;
  double weight_;
  std::vector<bool> done_;
};

}  // namespace

TEST_CASE("a plan of up to eight steps is as cheap as the cheapest of all orders: 500 random cases with needs") {
  std::size_t with_needs = 0, cheaper = 0, several_parts = 0, orders = 0;
  for (unsigned seed = 1; seed <= 500; ++seed) {
    CAPTURE(seed);
    std::mt19937 draw(seed);
    const std::size_t parts = 1 + seed % 4;
    const auto items = large_case(draw, parts == 1 ? 3 + seed % 6 : 8 / parts);
    const double weight = std::vector<double>{0.0, 0.2, 0.7, 1.0, 3.0}[seed % 5];
    const auto planned = plan(items, parts, weight);
    const BruteForce all(items, parts, weight);
    REQUIRE(obeys_needs(items, parts, planned));
    CHECK(plan_cost(items, planned, weight) == doctest::Approx(all.least));
    orders += all.orders;
    several_parts += parts > 1 ? 1U : 0U;
    with_needs += std::any_of(items.begin(), items.end(), [](const auto& item) { return !item.before.empty() || item.first; }) ? 1U : 0U;
    cheaper += all.least < plan_cost(items, checklist_order(items, parts), weight) - 1e-9 ? 1U : 0U;
  }
  MESSAGE(orders << " orders tried; " << with_needs << " cases with needs, " << several_parts << " with several parts, " << cheaper << " cheaper than checklist order");
  CHECK(with_needs > 200);
  CHECK(several_parts > 300);
  CHECK(cheaper > 150);
}

TEST_CASE("a plan never costs more than checklist order: 100 large seeded cases") {
  std::size_t cheaper = 0;
  for (unsigned seed = 1; seed <= 100; ++seed) {
    CAPTURE(seed);
    std::mt19937 draw(seed);
    const auto items = large_case(draw, 20 + seed % 41);
    const std::size_t parts = 1 + seed % 12;
    const double weight = std::vector<double>{0.0, 0.2, 1.0, 5.0}[seed % 4];
    const auto order = checklist_order(items, parts);
    const auto planned = plan(items, parts, weight);
    REQUIRE(obeys_needs(items, parts, order));
    REQUIRE(obeys_needs(items, parts, planned));
    CHECK(plan_cost(items, planned, weight) <= plan_cost(items, order, weight));
    if (plan_cost(items, planned, weight) < plan_cost(items, order, weight)) ++cheaper;
    CHECK(plan(items, parts, weight) == planned);
  }
  CHECK(cheaper > 90);  // else the planner does nothing, and the check above proves nothing
}

TEST_CASE("the gauge in hand does all that it can before the next is taken up") {
  const std::vector<PlanItem> items = {
      {"a", false, {}}, {"b", false, {}}, {"a", false, {}}, {"b", false, {}}};
  CHECK(items_of(plan(items, 1, 0)) == std::vector<std::size_t>{0, 2, 1, 3});
  CHECK(plan_cost(items, plan(items, 1, 0), 0) == 1);
  CHECK(plan_cost(items, checklist_order(items, 1), 0) == 3);
}

TEST_CASE("what tells sizes apart comes first, with what it needs before it") {
  const std::vector<PlanItem> items = {{"a", false, {}}, {"b", false, {}}, {"a", true, {}}, {"", false, {2}}};
  const auto order = items_of(plan(items, 1, 0));
  CHECK(order[0] == 3);
  CHECK(order[1] == 2);
  CHECK(items_of(checklist_order(items, 1)) == std::vector<std::size_t>{3, 2, 0, 1});
}

TEST_CASE("needs are obeyed although they cost a change") {
  const std::vector<PlanItem> items = {{"a", false, {1}}, {"b", false, {2}}, {"a", false, {}}};
  CHECK(items_of(plan(items, 1, 0)) == std::vector<std::size_t>{0, 1, 2});
}

TEST_CASE("cheap parts, dear gauges: a gauge goes round all parts; dear parts: part after part") {
  const std::vector<PlanItem> items = {{"a", false, {}}, {"b", false, {}}, {"c", false, {}}};
  const auto round = plan(items, 4, 0.1);
  CHECK(plan_cost(items, round, 0.1) == doctest::Approx(2 + 0.1 * 9));
  CHECK(round[0].part != round[1].part);
  const auto dear = plan(items, 4, 10.0);
  for (std::size_t i = 0; i < dear.size(); ++i) CHECK(dear[i].part == i / 3);
  // Every second part runs backwards over the gauges: nothing is changed between two parts.
  CHECK(plan_cost(items, dear, 10.0) < plan_cost(items, checklist_order(items, 4), 10.0));
}

TEST_CASE("a ring of needs loses no item") {
  const std::vector<PlanItem> items = {{"a", false, {1}}, {"b", false, {0}}, {"c", false, {}}};
  auto order = items_of(plan(items, 1, 0));
  std::sort(order.begin(), order.end());
  CHECK(order == std::vector<std::size_t>{0, 1, 2});
  CHECK_FALSE(obeys_needs(items, 1, plan(items, 1, 0)));
}

TEST_CASE("a stage asks for its own features only") {
  Edition edition;
  const auto add = [&](std::string key, std::string kind, std::vector<std::string> stages, bool first) {
    Feature feature;
    feature.key = std::move(key);
    feature.gauge_kind = std::move(kind);
    feature.stages = std::move(stages);
    feature.tells_sizes_apart = first;
    edition.features.push_back(std::move(feature));
  };
  add("diameter", "micrometer", {}, false);
  add("bore", "bore-gauge", {"final"}, false);
  add("length", "height-gauge", {}, true);
  add("flange", "micrometer", {}, false);
  const auto gauge = [](const Feature& feature) { return feature.gauge_kind; };
  CHECK(plan_order(edition, "final", gauge) == std::vector<std::size_t>{2, 0, 3, 1});
  CHECK(plan_order(edition, "in process", gauge) == std::vector<std::size_t>{2, 0, 3});
}
