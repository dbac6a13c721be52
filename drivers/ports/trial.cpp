#include "drivers/ports/trial.hpp"

#include <algorithm>

#include "drivers/ports/recent.hpp"

namespace tallystick::ports {

namespace {

constexpr std::size_t refused_shown = 8;

}  // namespace

void Trials::begin(const std::string& gauge, const Stamp& now) {
  Kept kept;
  kept.begun = now;
  kept.trial.gauge = gauge;
  kept.trial.state = "waiting";
  kept.trial.begun_utc_us = now.utc_us;
  kept.trial.until_utc_us = now.utc_us + time_s * 1'000'000;
  trials_[gauge] = std::move(kept);
}

Trials::Kept* Trials::waiting(const std::string& gauge) {
  const auto found = trials_.find(gauge);
  return found == trials_.end() || found->second.trial.state != "waiting" ? nullptr : &found->second;
}

bool Trials::waits(const std::string& gauge) const {
  const auto* trial = of(gauge);
  return trial && trial->state == "waiting";
}

void Trials::end(const std::string& gauge, std::string_view why, const Stamp& now) {
  auto* kept = waiting(gauge);
  if (!kept) return;
  kept->trial.state = "ended";
  kept->trial.why = why;
  kept->trial.ended_utc_us = now.utc_us;
}

bool Trials::take(const Reading& reading) {
  auto* kept = waiting(reading.gauge);
  // A frame that had begun before was meant for something else.
  if (!kept || reading.frame.first.steady_ns < kept->begun.steady_ns) return false;
  kept->trial.state = "reading";
  kept->trial.frame = recent_frame(reading);
  kept->trial.ended_utc_us = reading.frame.last.utc_us;
  return true;
}

void Trials::refused(const std::string& gauge, const Refusal& refusal, const Frame& frame) {
  auto* kept = waiting(gauge);
  if (!kept) return;
  auto& list = kept->trial.refused;
  list.push_back(recent_frame(name(refusal.reason), refusal.detail, frame));
  if (list.size() > refused_shown) list.erase(list.begin());
}

bool Trials::not_answered(const std::string& gauge, const Error& why, const Stamp& now) {
  auto* kept = waiting(gauge);
  if (!kept) return false;
  kept->trial.state = "not_answered";
  kept->trial.why = why.what;
  kept->trial.hint = why.hint;
  kept->trial.ended_utc_us = now.utc_us;
  return true;
}

void Trials::tick(const Stamp& now) {
  for (auto& [gauge, kept] : trials_)
    if (kept.trial.state == "waiting" && now.steady_ns - kept.begun.steady_ns >= time_s * 1'000'000'000)
      end(gauge, "time_over", now);
}

const Trial* Trials::of(const std::string& gauge) const {
  const auto found = trials_.find(gauge);
  return found == trials_.end() ? nullptr : &found->second.trial;
}

void UnaskedRing::add(const Reading& reading) {
  auto& ring = rings_[reading.gauge];
  ring.push_back({reading.gauge, recent_frame(reading)});
  while (ring.size() > each_) ring.pop_front();
}

std::vector<Unasked> UnaskedRing::all() const {
  std::vector<Unasked> out;
  for (const auto& [gauge, ring] : rings_) out.insert(out.end(), ring.begin(), ring.end());
  std::stable_sort(out.begin(), out.end(),
                   [](const Unasked& a, const Unasked& b) { return a.frame.utc_us < b.frame.utc_us; });
  return out;
}

}  // namespace tallystick::ports
