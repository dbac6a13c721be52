#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <istream>
#include <ostream>

#include "drivers/ports/found_ports.hpp"
#include "tools/cli/gauge.hpp"

namespace tallystick::cli {
namespace {

constexpr int look_every_ms = 300;

void list(const std::vector<ports::FoundPort>& found, std::ostream& out) {
  if (found.empty()) out << "No serial line is there.\n";
  for (std::size_t i = 0; i < found.size(); ++i) {
    out << "  " << i + 1 << "  " << found[i].path << "  " << found[i].maker << ' ' << found[i].product << ' '
        << found[i].serial << '\n';
    for (const auto& warning : found[i].warnings) out << "       " << warning << '\n';
  }
}

bool among(const std::vector<ports::FoundPort>& all, const ports::FoundPort& one) {
  return std::ranges::any_of(all, [&](const auto& each) { return each.path == one.path; });
}

/// Waits for a line that came, or for an answer. Empty: the person ended it.
std::string chosen_port(Streams streams) {
  auto before = ports::find_ports();
  list(before, streams.out);
  streams.out << "Unplug the gauge and plug it in again, or write a number or a path (q to end): "
              << std::flush;
  for (;;) {
    // What was typed ahead lies in the stream, not in the descriptor.
    pollfd input{STDIN_FILENO, POLLIN, 0};
    const bool answered = streams.in.rdbuf()->in_avail() > 0 || ::poll(&input, 1, look_every_ms) > 0;
    if (answered) {
      std::string answer;
      if (!std::getline(streams.in, answer) || answer == "q") return {};
      std::size_t number = 0;
      const auto [end, error] = std::from_chars(answer.data(), answer.data() + answer.size(), number);
      if (error == std::errc{} && end == answer.data() + answer.size() && number >= 1 &&
          number <= before.size())
        return before[number - 1].path;
      if (answer.starts_with('/')) return answer;
      streams.out << "A number of the list, a path, or q: " << std::flush;
      continue;
    }
    auto now = ports::find_ports();
    for (const auto& port : before)
      if (!among(now, port)) streams.out << "\n  gone: " << port.path << "  Plug it in again." << std::endl;
    for (const auto& port : now) {
      if (among(before, port)) continue;
      streams.out << "\n  came: " << port.path << std::endl;
      return port.path;
    }
    before = std::move(now);
  }
}

}  // namespace

int find_gauge(const LearnOptions& options, Streams streams) {
  LearnOptions at_port = options;
  at_port.port = chosen_port(streams);
  if (at_port.port.empty()) return status::no;
  return learn_gauge(at_port, streams);
}

}  // namespace tallystick::cli
