// Many gauges at a steady rate each, evenly staggered; displays that take what they are told.
#include <sys/epoll.h>
#include <time.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdio>
#include <deque>
#include <memory>

#include "tools/bench/commit_probe.hpp"
#include "tools/bench/display.hpp"
#include "tools/bench/plan.hpp"

namespace tallystick::bench {

namespace {

constexpr std::int64_t second_ns = 1'000'000'000;
constexpr std::int64_t still_ns = 300'000'000;  // without a commit for so long: everything was taken

struct Sent {
  std::uint64_t presses = 0;
  std::uint64_t refused = 0;   // the terminal was full: nothing of that press went out
  std::int64_t latest_ns = 0;  // how far a press came behind its time
};

class Crowd {
 public:
  explicit Crowd(const Side& side)
      : side_(side), probe_(side.shared_file), events_(epoll_create1(EPOLL_CLOEXEC)) {
    if (clock_getcpuclockid(side.process, &cpu_clock_) != 0) give_up("no CPU clock of " + side.name);
    for (std::size_t index = 0; index < side.benches.size(); ++index) {
      displays_.emplace_back(side.address, side.benches[index], "bench-figures");
      epoll_event wanted{};
      wanted.events = EPOLLIN;
      wanted.data.u64 = index;
      epoll_ctl(events_, EPOLL_CTL_ADD, displays_.back().descriptor(), &wanted);
    }
  }
  ~Crowd() { close(events_); }
  Crowd(const Crowd&) = delete;
  Crowd& operator=(const Crowd&) = delete;

  /// The other side: its displays are listened to while this one's block runs, for one that answers no sign of life
  /// for 20 s is dropped, and rightly.
  void beside(Crowd* other) { other_ = other; }

  boost::json::object block(double seconds, double rate) {
    messages_ = 0;
    message_bytes_ = 0;
    const auto commits = probe_.commits();
    const auto cpu = cpu_ns();
    const auto begin = now_ns();
    const Sent sent = send(begin, seconds, rate);
    const auto sent_at = now_ns();
    const auto taken_at = wait_until_still();
    boost::json::object out;
    out["side"] = side_.name;
    out["sent"] = sent.presses;
    out["refused_by_terminal"] = sent.refused;
    out["latest_ns"] = sent.latest_ns;
    out["seconds"] = static_cast<double>(sent_at - begin) / 1e9;
    out["behind_seconds"] = taken_at > sent_at ? static_cast<double>(taken_at - sent_at) / 1e9 : 0.0;
    out["cpu_ns"] = cpu_ns() - cpu;
    out["commits"] = probe_.commits() - commits;
    out["messages"] = messages_;
    out["message_bytes"] = message_bytes_;
    return out;
  }

 private:
  std::int64_t cpu_ns() const {
    timespec time{};
    clock_gettime(cpu_clock_, &time);
    return std::int64_t{time.tv_sec} * second_ns + time.tv_nsec;
  }

  Sent send(std::int64_t begin, double seconds, double rate) {
    Sent sent;
    const auto count =
        static_cast<std::int64_t>(seconds * rate * static_cast<double>(side_.terminals.size()));
    const double step_ns = 1e9 / (rate * static_cast<double>(side_.terminals.size()));
    for (std::int64_t index = 0; index < count; ++index) {
      const auto due = begin + static_cast<std::int64_t>(static_cast<double>(index) * step_ns);
      while (now_ns() < due) take(due - now_ns());
      sent.latest_ns = std::max(sent.latest_ns, now_ns() - due);
      const auto which = static_cast<std::size_t>(index) % side_.terminals.size();
      const std::string line = press_line(pressed_++);
      const auto written = write(side_.terminals[which], line.data(), line.size());
      if (written == static_cast<ssize_t>(line.size())) {
        ++sent.presses;
      } else if (written < 0 && errno == EAGAIN) {
        ++sent.refused;
      } else {
        give_up("a terminal of " + side_.name + " took half a line");
      }
    }
    return sent;
  }

  /// Takes what the displays are told, for at most `wait_ns`.
  void take(std::int64_t wait_ns) {
    take_own(wait_ns);
    if (other_ == nullptr || now_ns() - other_taken_ns_ < second_ns / 5) return;
    other_taken_ns_ = now_ns();
    other_->take_own(0);
  }

  void take_own(std::int64_t wait_ns) {
    const timespec wait{wait_ns / second_ns, wait_ns % second_ns};
    std::array<epoll_event, 64> ready;
    const int count = epoll_pwait2(events_, ready.data(), static_cast<int>(ready.size()), &wait, nullptr);
    for (int index = 0; index < count; ++index) {
      auto& display = displays_[static_cast<std::size_t>(ready[static_cast<std::size_t>(index)].data.u64)];
      display.receive();
      messages_ += display.drop_all(message_bytes_);
    }
  }

  /// When the last commit was seen.
  std::int64_t wait_until_still() {
    auto last = now_ns();
    auto commits = probe_.commits();
    while (now_ns() - last < still_ns) {
      take(10'000'000);
      if (probe_.commits() == commits) continue;
      commits = probe_.commits();
      last = now_ns();
    }
    return last;
  }

  const Side side_;
  CommitProbe probe_;
  int events_ = -1;
  clockid_t cpu_clock_{};
  std::deque<Display> displays_;
  Crowd* other_ = nullptr;
  std::int64_t other_taken_ns_ = 0;
  unsigned pressed_ = 0;
  std::size_t messages_ = 0, message_bytes_ = 0;
};

}  // namespace

void press_as_a_crowd(const Plan& plan) {
  std::vector<std::unique_ptr<Crowd>> sides;
  for (const auto& side : plan.sides) sides.push_back(std::make_unique<Crowd>(side));
  for (std::size_t index = 0; index < sides.size(); ++index)
    if (sides.size() > 1) sides[index]->beside(sides[(index + 1) % sides.size()].get());
  for (int block = 0; block < plan.blocks; ++block) {
    for (std::size_t turn = 0; turn < sides.size(); ++turn) {
      auto out =
          sides[(turn + static_cast<std::size_t>(block)) % sides.size()]->block(plan.seconds, plan.rate);
      out["block"] = block;
      std::puts(boost::json::serialize(out).c_str());
      std::fflush(stdout);
    }
  }
}

}  // namespace tallystick::bench
