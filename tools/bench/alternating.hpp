// Alternating blocks of two ways to do the same, within one process: what became of each pair, as one line of
// JSON.
#pragma once

#include <algorithm>
#include <boost/json.hpp>
#include <cstdio>
#include <functional>
#include <string>

#include "tools/bench/commit_probe.hpp"

namespace tallystick::bench {

/// Does the work once; how many items it went through.
using Work = std::function<std::uint64_t()>;

/// Keeps a result that nobody reads from being optimised away.
template <typename Value>
void keep(const Value& value) {
  asm volatile("" : : "g"(&value) : "memory");
}

struct Effort {
  int pairs = 5;
  std::int64_t block_ns = 100'000'000;  ///< at least so long a block
};

/// Nanoseconds of CPU an item.
inline double time_block(const Work& work, std::int64_t at_least_ns) {
  std::uint64_t items = 0;
  const auto begin = cpu_ns();
  std::int64_t spent = 0;
  do {
    items += work();
    spent = cpu_ns() - begin;
  } while (spent < at_least_ns);
  return static_cast<double>(spent) / static_cast<double>(std::max<std::uint64_t>(items, 1));
}

inline void print(boost::json::object figure) {
  std::puts(boost::json::serialize(figure).c_str());
  std::fflush(stdout);
}

/// {"figure","ours_ns":[...],"floor_ns":[...]}, an entry a pair. Without a floor its list is empty.
inline void compare(const std::string& figure, const Effort& effort, const Work& ours, const Work& floor,
                    boost::json::object more = {}) {
  boost::json::array ours_ns, floor_ns;
  ours();  // caches and branches
  if (floor) floor();
  for (int pair = 0; pair < effort.pairs; ++pair) {
    const bool ours_first = pair % 2 == 0;
    if (ours_first) ours_ns.push_back(time_block(ours, effort.block_ns));
    if (floor) floor_ns.push_back(time_block(floor, effort.block_ns));
    if (!ours_first) ours_ns.push_back(time_block(ours, effort.block_ns));
  }
  more["figure"] = figure;
  more["ours_ns"] = std::move(ours_ns);
  more["floor_ns"] = std::move(floor_ns);
  print(std::move(more));
}

}  // namespace tallystick::bench
