#include "drivers/ports/clock.hpp"

#include <sys/timerfd.h>
#include <sys/timex.h>
#include <unistd.h>

#include <boost/asio/error.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <ctime>
#include <fstream>
#include <limits>

namespace tallystick::ports {
namespace {

std::int64_t nanoseconds(clockid_t clock) {
  timespec now{};
  ::clock_gettime(clock, &now);
  return static_cast<std::int64_t>(now.tv_sec) * 1'000'000'000 + now.tv_nsec;
}

}  // namespace

std::int64_t steady_now_ns() { return nanoseconds(CLOCK_BOOTTIME); }

bool kernel_clock_synchronised() {
  timex asked{};
  const int state = ::adjtimex(&asked);
  return state != -1 && state != TIME_ERROR && (asked.status & STA_UNSYNC) == 0;
}

std::string boot_id() {
  std::ifstream file("/proc/sys/kernel/random/boot_id");
  std::string text, out;
  std::getline(file, text);
  for (const char c : text) {
    if (c != '-') out.push_back(c);
  }
  return out;
}

struct SystemClock::Watch {
  explicit Watch(boost::asio::io_context& loop, int descriptor) : timer(loop, descriptor) {}
  boost::asio::posix::stream_descriptor timer;
  SystemClock* owner = nullptr;

  bool arm() {
    itimerspec far{};
    far.it_value.tv_sec = std::numeric_limits<std::int32_t>::max();  // 2038: it never fires by itself before
    const time_t now = ::time(nullptr);
    if (now >= far.it_value.tv_sec) far.it_value.tv_sec = now + 3'000'000'000;
    return ::timerfd_settime(timer.native_handle(), TFD_TIMER_ABSTIME | TFD_TIMER_CANCEL_ON_SET, &far,
                             nullptr) == 0;
  }

  static void wait(const std::shared_ptr<Watch>& self) {
    self->timer.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                           [self](boost::system::error_code error) {
                             if (error || !self->owner) return;
                             std::uint64_t fired = 0;
                             // ECANCELED is the news; whatever it is, a sample tells whether the clock moved.
                             const ssize_t got = ::read(self->timer.native_handle(), &fired, sizeof fired);
                             if (got < 0 && errno != ECANCELED && errno != EAGAIN) return;
                             self->owner->now();
                             if (self->arm()) wait(self);
                           });
  }
};

SystemClock::SystemClock(ClockTrust::Rules rules, std::int64_t last_journalled_utc_us, Stepped stepped)
    : trust_(rules, last_journalled_utc_us), stepped_(std::move(stepped)), boot_(boot_id()) {}

SystemClock::~SystemClock() { unwatch(); }

void SystemClock::watch(boost::asio::io_context& loop) {
  unwatch();
  const int descriptor = ::timerfd_create(CLOCK_REALTIME, TFD_NONBLOCK | TFD_CLOEXEC);
  if (descriptor < 0) return;  // then a step is found at the next reading
  watch_ = std::make_shared<Watch>(loop, descriptor);
  watch_->owner = this;
  if (watch_->arm()) Watch::wait(watch_);
}

void SystemClock::unwatch() {
  if (!watch_) return;
  watch_->owner = nullptr;
  boost::system::error_code ignored;
  watch_->timer.close(ignored);
  watch_.reset();
}

Stamp SystemClock::sample() {
  Stamp stamp;
  stamp.boot = boot_;
  for (int attempt = 0; attempt < 5; ++attempt) {
    const std::int64_t before = steady_now_ns();
    stamp.utc_us = nanoseconds(CLOCK_REALTIME) / 1000;
    const std::int64_t after = steady_now_ns();
    stamp.steady_ns = before + (after - before) / 2;
    if (after - before < 20'000) break;
  }
  return stamp;
}

Stamp SystemClock::now() {
  Stamp stamp = sample();
  // Ten seconds are soon enough for a state that is bearable for minutes, and it is a system call.
  if (asked_kernel_at_ns_ == 0 || stamp.steady_ns - asked_kernel_at_ns_ > 10'000'000'000) {
    synchronised_ = kernel_clock_synchronised();
    asked_kernel_at_ns_ = stamp.steady_ns;
  }
  const auto step = trust_.sample(stamp.utc_us, stamp.steady_ns, synchronised_);
  stamp.clock = trust_.state().trusted ? "trusted" : "untrusted";
  if (step && stepped_) stepped_(*step, stamp);
  return stamp;
}

}  // namespace tallystick::ports
