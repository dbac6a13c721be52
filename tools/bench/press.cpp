// Presses gauges' buttons and sees what comes of it: bench_press one | crowd  <plan.json
#include <cstdio>
#include <cstring>
#include <iostream>
#include <iterator>

#include "tools/bench/commit_probe.hpp"
#include "tools/bench/plan.hpp"

namespace tallystick::bench {

Side side_from(const boost::json::object& from) {
  Side out;
  out.name = std::string(from.at("name").as_string());
  for (const auto& terminal : from.at("terminals").as_array())
    out.terminals.push_back(terminal.to_number<int>());
  out.shared_file = std::string(from.at("shared_file").as_string());
  out.process = from.at("process").to_number<pid_t>();
  if (const auto* address = from.if_contains("address")) {
    out.address = std::string(address->as_string());
    for (const auto& bench : from.at("benches").as_array()) out.benches.emplace_back(bench.as_string());
  }
  return out;
}

Plan plan_from_input() {
  const std::string text{std::istreambuf_iterator<char>(std::cin), {}};
  const auto value = boost::json::parse(text);
  const auto& from = value.as_object();
  Plan out;
  for (const auto& side : from.at("sides").as_array()) out.sides.push_back(side_from(side.as_object()));
  out.blocks = from.at("blocks").to_number<int>();
  const auto number = [&from](const char* name, auto& to) {
    if (const auto* value_of = from.if_contains(name))
      to = value_of->to_number<std::remove_reference_t<decltype(to)>>();
  };
  number("warm_up", out.warm_up);
  number("presses", out.presses);
  number("pause_us", out.pause_us);
  number("seconds", out.seconds);
  number("rate", out.rate);
  return out;
}

}  // namespace tallystick::bench

int main(int count, char** arguments) {
  using namespace tallystick::bench;
  const std::string_view how = count == 2 ? arguments[1] : "";
  if (how != "one" && how != "crowd") {
    std::fprintf(stderr, "usage: bench_press one | crowd  <plan.json   (tools/bench/run writes the plan)\n");
    return 2;
  }
  try {
    const Plan plan = plan_from_input();
    how == "one" ? press_one_by_one(plan) : press_as_a_crowd(plan);
  } catch (const std::exception& error) {
    give_up(std::string("the plan cannot be read: ") + error.what());
  }
  return 0;
}
