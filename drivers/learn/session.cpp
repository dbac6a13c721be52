#include "drivers/learn/session.hpp"

#include <algorithm>

#include "drivers/learn/frames.hpp"

namespace tallystick::learn {

namespace {

/// A press ends by a silence; a stream never falls silent, so it is cut.
constexpr std::int64_t silence_us = 300'000, longest_press_us = 2'000'000;
constexpr std::size_t most_bytes = 4096;
/// Of all bytes of a frame, so many thousandths must be characters that a person can read.
constexpr std::size_t readable_thousandths = 900;

/// Bytes as text: readable, and with a number among them. Garbage of a wrong speed is sometimes readable, but
/// seldom has a row of digits, and an end.
bool reads_as_text(const std::string& bytes) {
  std::size_t good = 0, row = 0, longest_row = 0;
  for (const char c : bytes) {
    const bool mark = c == '\r' || c == '\n' || c == '\t' || (c > 0 && c < 5);
    good += mark || (c >= ' ' && c <= '~') ? 1U : 0U;
    const bool in_row = (c >= '0' && c <= '9') || (row > 0 && (c == '.' || c == ','));
    row = in_row ? row + 1 : 0;
    longest_row = std::max(longest_row, row);
  }
  const bool closed = !bytes.empty() && (bytes.back() == '\r' || bytes.back() == '\n' || bytes.back() == 3);
  return longest_row >= (closed ? 3U : 4U) && 1000 * good >= readable_thousandths * bytes.size();
}

}  // namespace

std::string_view name(Session::Wants wants) {
  switch (wants) {
    case Session::Wants::press:
      return "press";
    case Session::Wants::shown:
      return "shown";
    case Session::Wants::other_value:
      return "other_value";
    case Session::Wants::ready:
      return "ready";
  }
  return "?";
}

Recording told_part(const Recording& recording) {
  Recording out;
  for (const auto& press : recording.presses) {
    const bool told_there = std::ranges::any_of(
        recording.presses, [&](const auto& other) { return other.shown && other.line == press.line; });
    if (told_there) out.presses.push_back(press);
  }
  return out;
}

Session::Session(std::vector<std::shared_ptr<const Dialect>> known, Naming naming,
                 std::optional<PortSettings> only)
    : known_(std::move(known)), naming_(std::move(naming)), only_(only.has_value()) {
  line_ = only ? *only : settings_to_try(recording_).front();
}

void Session::heard(std::string_view bytes, std::int64_t at_us) {
  if (wants_ == Wants::shown || held_back_ || bytes.empty()) return;
  if (under_way_.empty()) last_bytes_.clear();
  const std::size_t room = most_bytes - std::min(most_bytes, last_bytes_.size());
  bytes = bytes.substr(0, room);
  if (bytes.empty()) return;
  under_way_.push_back({at_us, ReplayRecord::Kind::received, std::string(bytes)});
  last_bytes_ += bytes;
}

std::optional<std::int64_t> Session::press_ends_us() const {
  if (under_way_.empty()) return std::nullopt;
  return std::min(under_way_.back().at_us + silence_us, under_way_.front().at_us + longest_press_us);
}

bool Session::tick(std::int64_t now_us) {
  const auto ends = press_ends_us();
  if (!ends || now_us < *ends) return false;
  end_press();
  return true;
}

void Session::end_press() {
  Press press;
  press.line = line_;
  press.heard = std::exchange(under_way_, {});
  // No silence ended it: the gauge sends all the time, or floods the line.
  const bool endless = press.heard.back().at_us - press.heard.front().at_us > longest_press_us - silence_us ||
                       last_bytes_.size() >= most_bytes;
  recording_.presses.push_back(press);
  changed_settings_ = false;
  if (only_ || understood(press)) {
    // What was heard at settings that were given up says nothing of the gauge.
    if (!only_)
      std::erase_if(recording_.presses,
                    [&](const auto& each) { return !each.shown && !(each.line == line_); });
    held_back_ = endless;
    look();
    wants_ = Wants::shown;
    return;
  }
  next_settings();
}

bool Session::understood(const Press& press) const {
  Recording alone;
  alone.presses.push_back(press);
  for (const auto& view : views_of(alone)) {
    if (reads_as_text(view.presses.front().bytes())) return true;
  }
  // A dialect that proves its frames by more than their look may read bytes that are no text.
  return std::ranges::any_of(learn(alone, known_, naming_).known,
                             [](const auto& dialect) { return !dialect.other_settings; });
}

void Session::next_settings() {
  const auto left = settings_to_try(recording_);
  tried_all_ = left.empty();
  wants_ = Wants::press;
  changed_settings_ = true;
  if (left.empty()) {
    recording_.presses.clear();  // from the beginning: the gauge may have been set otherwise meanwhile
    line_ = settings_to_try(recording_).front();
  } else {
    line_ = left.front();
  }
}

void Session::look() {
  findings_ = learn(recording_, known_, naming_);
  const bool one_is_known =
      std::ranges::any_of(findings_.known, [](const auto& dialect) { return !dialect.other_settings; });
  wants_ = one_is_known || !findings_.proposals.empty() ? Wants::ready : Wants::other_value;
}

Done Session::shown(std::string_view text) {
  if (recording_.presses.empty() || wants_ == Wants::press)
    return fail("nothing_heard", "nothing was heard that this could belong to", {},
                "press the gauge's button first");
  auto read = read_shown(text);
  if (!read) return tl::unexpected(read.error());
  auto& press = recording_.presses.back();
  press.shown = std::move(*read);
  press.shown_text = std::string(text);
  look();
  return {};
}

Done Session::forget() {
  if (recording_.presses.empty())
    return fail("nothing_heard", "nothing was heard yet", {}, "press the gauge's button first");
  recording_.presses.pop_back();
  last_bytes_.clear();
  if (recording_.presses.empty()) {
    findings_ = {};
    wants_ = Wants::press;
  } else {
    look();
  }
  return {};
}

void Session::listen_with(const PortSettings& line) {
  line_ = line;
  only_ = true;
  changed_settings_ = false;
  wants_ = recording_.presses.empty() ? Wants::press : wants_;
}

}  // namespace tallystick::learn
