#include "drivers/ports/asking.hpp"

#include <algorithm>

namespace tallystick::ports {

Done Asking::ask(const std::string& gauge, bool by_person, std::int64_t) {
  const auto same = [&](const Request& one) { return one.gauge == gauge && (one.by_person || !by_person); };
  const bool asked = (current_ && same(*current_)) || std::any_of(waiting_.begin(), waiting_.end(), same);
  if (asked) {
    if (!by_person) return {};
    return fail("already_asked", "it has been asked and has not answered yet", "gauge " + gauge,
                "wait for its answer or its time-out");
  }
  if (waiting_.size() >= rules_.queue) {
    return fail("too_many_requests", std::to_string(waiting_.size()) + " requests wait at this port already",
                "gauge " + gauge, "ask again in a moment");
  }
  auto place = waiting_.end();
  if (by_person)
    place = std::find_if(waiting_.begin(), waiting_.end(), [](const Request& r) { return !r.by_person; });
  waiting_.insert(place, Request{gauge, by_person});
  return {};
}

std::optional<Asking::Request> Asking::to_send(std::int64_t now) {
  if (current_) return send_ ? current_ : std::nullopt;
  if (waiting_.empty() || now < quiet_until_) return {};
  current_ = waiting_.front();
  waiting_.pop_front();
  tries_ = 0;
  send_ = true;
  stray_possible_ = false;
  return current_;
}

void Asking::sent(std::int64_t now) {
  if (!current_ || !send_) return;
  send_ = false;
  ++tries_;
  // Of a repeated request the first sending counts: an answer to any of them was measured after the person
  // asked.
  if (tries_ == 1) sent_at_ = now;
  deadline_ = now + rules_.reply_timeout_ns;
}

Asking::Verdict Asking::frame(const std::string& gauge, std::int64_t first_byte_ns, std::int64_t now) {
  if (current_ && current_->gauge == gauge && tries_ > 0 && first_byte_ns >= sent_at_) {
    answered_ = *current_;
    if (tries_ > 1) quiet_until_ = now + rules_.reply_timeout_ns;
    stray_possible_ = tries_ > 1;
    current_.reset();
    send_ = false;
    return Verdict::reply;
  }
  return !current_ && stray_possible_ && now < quiet_until_ ? Verdict::late : Verdict::unsolicited;
}

std::optional<Asking::Request> Asking::declined(std::int64_t first_byte_ns, std::int64_t now) {
  if (!current_ || tries_ == 0 || first_byte_ns < sent_at_) return {};
  const Request out = *current_;
  if (tries_ > 1) quiet_until_ = now + rules_.reply_timeout_ns;
  stray_possible_ = tries_ > 1;
  current_.reset();
  send_ = false;
  return out;
}

void Asking::leave_alone(std::int64_t now) {
  quiet_until_ = now + rules_.reply_timeout_ns;
  stray_possible_ = true;
}

std::optional<std::string> Asking::asked_of() const {
  if (!current_ || tries_ == 0) return {};
  return current_->gauge;
}

std::optional<Asking::GivenUp> Asking::tick(std::int64_t now) {
  if (!current_ || send_ || now < deadline_) return {};
  if (tries_ <= rules_.retries) {
    send_ = true;
    return {};
  }
  GivenUp out{*current_, tries_};
  current_.reset();
  stray_possible_ = true;
  quiet_until_ = now + rules_.reply_timeout_ns;
  return out;
}

std::optional<std::int64_t> Asking::wake_at() const {
  if (current_) return send_ ? std::nullopt : std::optional(deadline_);
  if (!waiting_.empty()) return quiet_until_;
  return {};
}

std::deque<Asking::Request> Asking::drop_all() {
  std::deque<Request> out;
  if (current_ && current_->by_person) out.push_back(*current_);
  for (const auto& one : waiting_) {
    if (one.by_person) out.push_back(one);
  }
  current_.reset();
  waiting_.clear();
  send_ = false;
  return out;
}

}  // namespace tallystick::ports
