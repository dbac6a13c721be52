#include "drivers/ports/port_life.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace tallystick::ports {
namespace {

std::string seconds(std::int64_t ns) {
  char out[32];
  std::snprintf(out, sizeof out, "%lld.%01lld s", static_cast<long long>(ns / 1'000'000'000),
                static_cast<long long>(ns / 100'000'000 % 10));
  return out;
}

/// The node itself is missing, as against "there, but it cannot be opened".
bool is_missing(const Error& why) { return why.code == "port_absent"; }

}  // namespace

std::string_view name(PortState state) {
  switch (state) {
    case PortState::absent:
      return "absent";
    case PortState::opening:
      return "opening";
    case PortState::open:
      return "open";
    case PortState::silent:
      return "silent";
    case PortState::lost:
      return "lost";
    case PortState::backing_off:
      return "backing_off";
  }
  return "absent";
}

std::int64_t BackOff::delay_ns(std::uint64_t failures, double jitter) const {
  std::int64_t delay = first_ns;
  for (std::uint64_t n = 1; n < failures && delay < greatest_ns; ++n) delay *= 2;
  delay = std::min(delay, greatest_ns);
  const double share = std::clamp(std::isfinite(jitter) ? jitter : 0.0, 0.0, 1.0) * 0.25;
  return delay - static_cast<std::int64_t>(static_cast<double>(delay) * share);
}

void PortLife::become(PortState next, std::int64_t now) {
  if (state_ == next) return;
  state_ = next;
  since_ = now;
}

Do PortLife::start(std::int64_t now) {
  if (started_) return {};
  started_ = true;
  since_ = away_since_ = now;
  return attempt(now);
}

Do PortLife::attempt(std::int64_t now) {
  // A retry is not news: clients keep seeing what the last one found until this one is decided.
  const bool news = !was_told_;
  shown_before_attempt_ = state_;
  const std::int64_t since = since_;
  become(PortState::opening, now);
  if (!news) since_ = since;
  return {Do::Act::open, news, {}, false};
}

Do PortLife::opened(std::int64_t now) {
  if (state_ != PortState::opening || holds_) return {};
  holds_ = true;
  opened_at_ = now;
  stable_ = false;
  warm_until_ = now + limits_.warm_up_ns;
  if (limits_.warm_up_ns > 0) {
    since_ = now;
    return {Do::Act::nothing, true, {}, false};
  }
  return live(now);
}

Do PortLife::live(std::int64_t now) {
  Do out{Do::Act::nothing, true, {}, false};
  if (was_told_) {
    out.log = "port " + port_ + " is back after " + std::to_string(attempts_) + " failed attempts in " +
              seconds(now - away_since_);
  } else {
    out.log = "port " + port_ + " is open";
  }
  since_ = now;
  become(PortState::open, now);
  was_told_ = true;
  attempts_ = 0;
  why_.reset();
  return out;
}

Do PortLife::open_failed(std::int64_t now, const Error& why, double jitter) {
  if (state_ != PortState::opening || holds_) return {};
  ++attempts_;
  ++failures_;
  retry_at_ = now + limits_.back_off.delay_ns(failures_, jitter);
  const PortState next = is_missing(why) ? PortState::absent : PortState::backing_off;
  const bool same_reason = why_ && why_->code == why.code;
  // After a loss the missing node is no news of its own: the loss has been told.
  const bool only_gone = why_ && next == PortState::absent && losses_ > 0 && attempts_ == 1;
  Do out;
  if (!was_told_ || (!same_reason && !only_gone)) {
    out.log = "port " + port_ + " cannot be opened: " + text(why) + "; it is tried again for ever";
    out.log_as_warning = true;
  }
  out.changed = !was_told_ || !same_reason || shown_before_attempt_ != next;
  was_told_ = true;
  if (shown_before_attempt_ == next) {
    state_ = next;  // keeps `since`: it has been so all along
  } else {
    state_ = next;
    since_ = now;
  }
  why_ = why;
  return out;
}

Do PortLife::lost(std::int64_t now, const Error& why) {
  if (!holds_ || state_ == PortState::lost) return {};
  ++losses_;
  if (stable_ || now - opened_at_ >= limits_.stable_after_ns) failures_ = 0;
  become(PortState::lost, now);
  away_since_ = now;
  attempts_ = 0;
  why_ = why;
  was_told_ = true;
  return {Do::Act::close, true, "port " + port_ + " is lost: " + text(why) + "; it is looked for again",
          true};
}

Do PortLife::closed(std::int64_t now, double jitter) {
  if (state_ != PortState::lost || !holds_) return {};
  holds_ = false;
  ++failures_;
  retry_at_ = now + limits_.back_off.delay_ns(failures_, jitter);
  return {};
}

Do PortLife::heard(std::int64_t now) {
  heard_ = now;
  opened_in_vain_ = 0;
  stable_ = true;
  failures_ = 0;
  if (state_ != PortState::silent) return {};
  const std::int64_t quiet = now - since_;
  become(PortState::open, now);
  why_.reset();
  return {Do::Act::nothing, true, "port " + port_ + " is heard again after " + seconds(quiet), false};
}

Do PortLife::node_changed(std::int64_t now) {
  if (!started_ || holds_ || state_ == PortState::opening) return {};
  return attempt(now);
}

Do PortLife::tick(std::int64_t now) {
  const auto due = wake_at();
  if (!due || now < *due) return {};
  switch (state_) {
    case PortState::absent:
    case PortState::backing_off:
    case PortState::lost:
      return attempt(now);
    case PortState::opening:
      return live(now);
    case PortState::open: {
      why_ = Error{"silent", "nothing whole has been heard for " + seconds(limits_.silent_after_ns),
                   "port " + port_, "check the gauge's power, its cable and that it is set to send"};
      become(PortState::silent, now);
      return {Do::Act::nothing, true, "port " + port_ + " is silent: " + text(*why_), true};
    }
    case PortState::silent: {
      ++opened_in_vain_;
      const auto times = std::to_string(opened_in_vain_) + (opened_in_vain_ == 1 ? " time" : " times");
      return lost(
          now,
          Error{"mute", "it is open and says nothing; it is opened anew (" + times + " since it was heard)",
                "port " + port_,
                opened_in_vain_ < 3 ? "check the gauge's power and cable"
                                    : "opening it does not help: check the gauge's power, its cable and that "
                                      "it is set to send"});
    }
  }
  return {};
}

std::optional<std::int64_t> PortLife::wake_at() const {
  if (!started_) return {};
  switch (state_) {
    case PortState::absent:
    case PortState::backing_off:
      return retry_at_;
    case PortState::lost:
      return holds_ ? std::nullopt : std::optional(retry_at_);
    case PortState::opening:
      return holds_ ? std::optional(warm_until_) : std::nullopt;
    case PortState::open:
      if (limits_.silent_after_ns <= 0) return {};
      return std::max(opened_at_ + limits_.warm_up_ns, heard_.value_or(0)) + limits_.silent_after_ns;
    case PortState::silent:
      if (limits_.reopen_after_ns <= 0) return {};
      return since_ + (limits_.reopen_after_ns << std::min(opened_in_vain_, 6));
  }
  return {};
}

}  // namespace tallystick::ports
