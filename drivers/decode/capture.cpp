#include "drivers/decode/capture.hpp"

#include <algorithm>

namespace tallystick {

namespace {

constexpr std::size_t most_kept = 65'536;
/// Fewer tell nothing of a turn; two presses of a pedal by mistake do not make a span of nothing.
constexpr std::int64_t least_samples = 8;
constexpr std::int64_t least_settled = 3;

__extension__ using Wide = __int128;

bool farther_than(std::int64_t a, std::int64_t b, std::int64_t limit) {
  const Wide distance = a < b ? Wide(b) - a : Wide(a) - b;
  return distance > limit;
}

/// `base` and sum / count, rounded to the count, half to even. 0 <= sum / count <= distance of two counts.
std::int64_t mean_above(Wide base, Wide sum, Wide count) {
  Wide mean = base + sum / count;
  const Wide twice = 2 * (sum % count);
  if (twice > count || (twice == count && mean % 2 != 0)) ++mean;
  return static_cast<std::int64_t>(mean);
}

std::string seconds(std::int64_t us) {
  const auto tenths = (us + 50'000) / 100'000;
  return std::to_string(tenths / 10) + "." + std::to_string(tenths % 10) + " s";
}

}  // namespace

// ---------------------------------------------------------------- the trace

void CaptureTrace::join(Stretch& into, const Stretch& later) {
  if (later.low.count < into.low.count) into.low = later.low;
  if (later.high.count > into.high.count) into.high = later.high;
}

void CaptureTrace::add(const CaptureSample& sample) {
  if (!kept_.empty() && in_last_ < each_) {
    join(kept_.back(), {sample, sample});
    ++in_last_;
    return;
  }
  if (kept_.size() == stretches_) {
    for (std::size_t pair = 0; pair < stretches_ / 2; ++pair) {
      kept_[pair] = kept_[2 * pair];
      join(kept_[pair], kept_[2 * pair + 1]);
    }
    kept_.resize(stretches_ / 2);
    each_ *= 2;
  }
  kept_.push_back({sample, sample});
  in_last_ = 1;
}

void CaptureTrace::clear() {
  kept_.clear();
  each_ = 1;
  in_last_ = 0;
}

std::vector<CaptureSample> CaptureTrace::samples() const {
  std::vector<CaptureSample> out;
  out.reserve(2 * kept_.size());
  for (const auto& stretch : kept_) {
    const bool low_first = stretch.low.at_us <= stretch.high.at_us;
    out.push_back(low_first ? stretch.low : stretch.high);
    if (!(stretch.low == stretch.high)) out.push_back(low_first ? stretch.high : stretch.low);
  }
  return out;
}

// ---------------------------------------------------------------- the capture

Capture::Capture(CaptureRule rule, Stamp begun) : rule_(std::move(rule)), begun_(std::move(begun)) {}

std::int64_t Capture::offset_us(const Stamp& when) const {
  const std::int64_t at_us = elapsed_ns(begun_, when) / 1000;
  return last_ ? std::max(at_us, last_->at_us) : std::max<std::int64_t>(at_us, 0);
}

std::optional<Quantity> Capture::of(const std::optional<CaptureSample>& sample) const {
  if (!sample) return {};
  return Quantity::of_count(sample->count, unit_);
}

std::optional<Quantity> Capture::span() const {
  if (!low_) return {};
  const auto out = subtract(*greatest(), *least());
  return out ? std::optional<Quantity>(*out) : std::nullopt;
}

void Capture::break_off(std::string why, std::string detail) {
  ended_by_ = "broken";
  broken_ = std::move(why);
  detail_ = std::move(detail);
}

/// A frame was no value: an extreme may have been in it. What settles begins its window anew.
void Capture::lost_something(std::string why, std::string detail) {
  if (rule_.kind == CaptureKind::settled) return begin_window();
  break_off(std::move(why), std::move(detail));
}

void Capture::begin_window() {
  window_first_ += window_.size();
  window_.clear();
  lows_.clear();
  highs_.clear();
}

void Capture::take(const Decoded& decoded, const Stamp& when) {
  pass(when);
  if (ended()) return;
  const auto at_us = offset_us(when);
  heard_us_ = at_us;
  if (decoded.status != GaugeStatus::ok && decoded.status != GaugeStatus::low_battery) {
    ++refused_;
    return lost_something("gauge_status", std::string(name(decoded.status)));
  }
  if (samples_ > 0 && !(decoded.quantity.unit() == unit_))
    return break_off("unit_changed",
                     std::string(unit_.name()) + ", then " + std::string(decoded.quantity.unit().name()));
  const CaptureSample sample{at_us, decoded.quantity.count()};
  if (samples_ == 0) {
    unit_ = decoded.quantity.unit();
    first_ = low_ = high_ = sample;
  }
  longest_gap_us_ = std::max(longest_gap_us_, at_us - (last_ ? last_->at_us : 0));
  if (waits_for_movement() && farther_than(sample.count, first_->count, rule_.movement->count())) move(at_us);
  last_ = sample;
  ++samples_;
  if (sample.count < low_->count) low_ = sample;
  if (sample.count > high_->count) high_ = sample;
  keep(sample);
}

/// It begins by itself. What was waited through shrinks to its begin and its extremes, so that the picture is
/// of what moves; a sweep keeps all of it all the same.
void Capture::move(std::int64_t at_us) {
  moved_us_ = at_us;
  trace_.clear();
  std::vector<CaptureSample> wait{*first_, *low_, *high_};
  std::stable_sort(wait.begin(), wait.end(), [](const auto& a, const auto& b) { return a.at_us < b.at_us; });
  wait.erase(std::unique(wait.begin(), wait.end()), wait.end());
  for (const auto& one : wait) trace_.add(one);
  begin_window();
}

void Capture::keep(const CaptureSample& sample) {
  trace_.add(sample);
  if (rule_.kind == CaptureKind::sweep) {
    sweep_.push_back(sample);
    if (sweep_.size() > most_kept) break_off("too_many", std::to_string(most_kept) + " samples");
  } else if (rule_.kind == CaptureKind::settled && !waits_for_movement()) {
    settle(sample);
  }
}

/// The longest stretch up to this sample whose samples lie within the window of one another.
void Capture::settle(const CaptureSample& sample) {
  const auto number = window_first_ + window_.size();
  window_.push_back(sample);
  while (!lows_.empty() && lows_.back().count >= sample.count) lows_.pop_back();
  while (!highs_.empty() && highs_.back().count <= sample.count) highs_.pop_back();
  lows_.push_back({number, sample.count});
  highs_.push_back({number, sample.count});
  while (farther_than(highs_.front().count, lows_.front().count, rule_.window.count())) {
    window_.pop_front();
    ++window_first_;
    if (lows_.front().number < window_first_) lows_.pop_front();
    if (highs_.front().number < window_first_) highs_.pop_front();
  }
  if (window_.size() > most_kept) return break_off("too_many", std::to_string(most_kept) + " samples");
  if (static_cast<std::int64_t>(window_.size()) >= least_settled &&
      sample.at_us - window_.front().at_us >= rule_.settle_us)
    finish("settled");
}

void Capture::refused(RefusalReason reason, const Stamp& when) {
  pass(when);
  if (ended()) return;
  heard_us_ = offset_us(when);
  ++refused_;
  lost_something("frame_refused", std::string(name(reason)));
}

void Capture::port_lost(const Stamp& when) {
  pass(when);
  if (!ended()) break_off("port_lost", "after " + seconds(offset_us(when)));
}

void Capture::pass(const Stamp& now) {
  if (ended()) return;
  const auto at_us = offset_us(now);
  const std::int64_t from_us = rule_.movement ? moved_us_ : 0;
  const auto end_us = from_us + rule_.end_after_us;
  const bool over = rule_.end_after_us > 0 && from_us >= 0 && at_us > end_us;
  const auto silent_us = (over ? std::max(end_us, heard_us_) : at_us) - heard_us_;
  if (silent_us > rule_.longest_gap_us)
    break_off("gap", seconds(silent_us) + " without a value");
  else if (over)
    finish("time");
  else if (at_us > rule_.longest_us)
    break_off("too_long", seconds(at_us));
}

void Capture::finish(std::string by) {
  const auto enough = rule_.kind == CaptureKind::settled ? least_settled : least_samples;
  if (waits_for_movement())
    return break_off("no_movement", "less than " + rule_.movement->text() + " " +
                                        std::string(rule_.movement->unit().name()));
  if (rule_.kind == CaptureKind::settled && by != "settled") return break_off("not_settled", "");
  if (samples_ < enough)
    return break_off("too_few", std::to_string(samples_) + " samples, " + std::to_string(enough) + " wanted");
  if (rule_.value == CaptureValue::span && !span()) return break_off("overflow", "");
  ended_by_ = std::move(by);
}

CaptureEnd Capture::end(const Stamp& now) const {
  if (ended()) return result();
  Capture ending = *this;
  ending.pass(now);
  if (!ending.ended()) ending.finish("action");
  return ending.result();
}

CaptureEnd Capture::result() const {
  CaptureEnd out;
  out.ended_by = ended_by_;
  out.broken = broken_;
  out.detail = detail_;
  out.least = least();
  out.greatest = greatest();
  out.samples = samples_;
  out.refused = refused_;
  out.first_us = first_ ? first_->at_us : 0;
  out.last_us = last_ ? last_->at_us : 0;
  out.longest_gap_us = longest_gap_us_;
  out.moved_us = moved_us_;
  out.unit = unit_;
  if (rule_.kind == CaptureKind::settled)
    out.kept.assign(window_.begin(), window_.end());
  else if (rule_.kind == CaptureKind::sweep)
    out.kept = sweep_;
  else
    out.kept = trace_.samples();
  out.all = static_cast<std::int64_t>(out.kept.size()) == samples_;
  if (!broken_.empty()) return out;
  switch (rule_.value) {
    case CaptureValue::last:
      out.value = last();
      break;
    case CaptureValue::max:
      out.value = greatest();
      break;
    case CaptureValue::min:
      out.value = least();
      break;
    case CaptureValue::span:
      out.value = span();
      break;
    case CaptureValue::mean:
      if (const auto mean = captured_value(CaptureValue::mean, out.kept, unit_)) out.value = *mean;
      break;
  }
  return out;
}

std::vector<CaptureSample> Capture::picture(std::size_t most) const {
  CaptureTrace smaller(most / 2);
  for (const auto& sample : trace_.samples()) smaller.add(sample);
  return smaller.samples();
}

Expected<Quantity> captured_value(CaptureValue value, const std::vector<CaptureSample>& samples, Unit unit) {
  if (samples.empty()) return fail("no_samples", "there is no sample");
  const auto [low, high] = std::minmax_element(
      samples.begin(), samples.end(), [](const auto& a, const auto& b) { return a.count < b.count; });
  const auto least = Quantity::of_count(low->count, unit), greatest = Quantity::of_count(high->count, unit);
  switch (value) {
    case CaptureValue::last:
      return Quantity::of_count(samples.back().count, unit);
    case CaptureValue::max:
      return greatest;
    case CaptureValue::min:
      return least;
    case CaptureValue::span:
      return subtract(greatest, least);
    case CaptureValue::mean:
      break;
  }
  // Sums of distances from the least: they stay small where the values do not.
  Wide sum = 0;
  for (const auto& sample : samples) sum += Wide(sample.count) - low->count;
  return Quantity::of_count(mean_above(low->count, sum, static_cast<Wide>(samples.size())), unit);
}

}  // namespace tallystick
