// Single presses: from the last byte's write to the commit's end, and to the page's message.
#include <poll.h>
#include <time.h>
#include <unistd.h>

#include <cstdio>
#include <memory>
#include <optional>

#include "tools/bench/commit_probe.hpp"
#include "tools/bench/display.hpp"
#include "tools/bench/plan.hpp"

namespace tallystick::bench {

namespace {

constexpr std::int64_t patience_ns = 2'000'000'000;

struct Ends {
  Side side;
  CommitProbe probe;
  std::optional<Display> display;
  unsigned pressed = 0;

  explicit Ends(const Side& of) : side(of), probe(of.shared_file) {
    if (!side.address.empty()) display.emplace(side.address, side.benches.front(), "bench-figures");
  }
};

struct Press {
  std::int64_t durable_ns = 0, page_ns = 0;
  bool disturbed = false;  // another commit fell in: whose end was seen is not known
};

/// Spins until the message that tells of this very value has come. The view has the value in the print's
/// digits, which are those of the line.
bool wait_for_page(Display& display, const std::string& value, std::int64_t until) {
  std::string message;
  const std::string wanted = "\"value\":\"" + value + "\"";
  do {
    display.receive();
    while (display.next(message))
      if (message.find("\"last\":{") != std::string::npos && message.find(wanted) != std::string::npos)
        return true;
  } while (now_ns() < until);
  return false;
}

Press press(Ends& ends) {
  const std::string line = press_line(ends.pressed++);
  const auto before = ends.probe.commits();
  Press out;
  const auto begin = now_ns();
  if (write(ends.side.terminals.front(), line.data(), line.size()) != static_cast<ssize_t>(line.size()))
    give_up("a terminal of " + ends.side.name + " takes no bytes");
  if (!ends.probe.wait_past(before, patience_ns))
    give_up("a press on " + ends.side.name + " was not kept in time");
  out.durable_ns = now_ns() - begin;
  if (ends.display) {
    if (!wait_for_page(*ends.display, line.substr(1, 7), begin + patience_ns))
      give_up("a press on " + ends.side.name + " (" + line.substr(1, 7) + ") was not told in time");
    out.page_ns = now_ns() - begin;
  }
  out.disturbed = ends.probe.commits() - before != 1;
  return out;
}

void pause_for(int microseconds) {
  const timespec wait{0, microseconds * 1000L};
  nanosleep(&wait, nullptr);
}

boost::json::object block_of(Ends& ends, const Plan& plan) {
  boost::json::array durable, page;
  int disturbed = 0;
  const auto frames = ends.probe.frames();
  const auto commits = ends.probe.commits();
  for (int count = 0; count < plan.presses; ++count) {
    const Press one = press(ends);
    if (one.disturbed) {
      ++disturbed;
    } else {
      durable.push_back(one.durable_ns);
      if (ends.display) page.push_back(one.page_ns);
    }
    pause_for(plan.pause_us);
  }
  boost::json::object out;
  out["durable_ns"] = std::move(durable);
  out["page_ns"] = std::move(page);
  out["disturbed"] = disturbed;
  out["commits"] = ends.probe.commits() - commits;
  // A checkpoint begins the WAL anew: then this block's count says nothing.
  if (ends.probe.frames() > frames) out["frames"] = ends.probe.frames() - frames;
  return out;
}

}  // namespace

void press_one_by_one(const Plan& plan) {
  std::vector<std::unique_ptr<Ends>> sides;
  for (const auto& side : plan.sides) sides.push_back(std::make_unique<Ends>(side));
  for (auto& ends : sides)
    for (int count = 0; count < plan.warm_up; ++count) {
      press(*ends);
      pause_for(plan.pause_us);
    }
  for (int block = 0; block < plan.blocks; ++block) {
    for (std::size_t turn = 0; turn < sides.size(); ++turn) {
      // Who goes first changes from block to block.
      auto& ends = *sides[(turn + static_cast<std::size_t>(block)) % sides.size()];
      auto out = block_of(ends, plan);
      out["side"] = ends.side.name;
      out["block"] = block;
      std::puts(boost::json::serialize(out).c_str());
      std::fflush(stdout);
    }
  }
}

}  // namespace tallystick::bench
