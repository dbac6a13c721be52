#include "drivers/decode/decoder.hpp"

#include <algorithm>
#include <cstring>

#include "drivers/decode/plan.hpp"

namespace tallystick {

namespace {

/// A frame's rest may follow a break of the line. Bytes that come sooner than this many give-up times after a
/// broken frame are taken for its rest, not for a new frame.
constexpr std::int64_t distrust_factor = 2;

/// Input is taken in slices: one large call needs no more memory than many small ones, and what is moved up
/// after each frame is little.
constexpr std::size_t slice = 512;

}  // namespace

Decoder::Decoder(std::shared_ptr<const Dialect> dialect) : dialect_(std::move(dialect)) {
  if (dialect_->modbus) modbus_.emplace(dialect_);
}

std::vector<DecodeEvent> Decoder::taken() { return std::exchange(out_, {}); }

std::vector<DecodeEvent> Decoder::sent(std::string_view request, const Stamp& when) {
  return modbus_ ? modbus_->sent(request, when) : std::vector<DecodeEvent>();
}

void Decoder::given_up() {
  if (modbus_) modbus_->given_up();
}

std::vector<DecodeEvent> Decoder::opened(const Stamp& when) {
  if (modbus_) return modbus_->opened(when);
  finish_unfinished(true, false);
  trust_ = Trust::unseen_begin;
  last_activity_ = when;
  opened_ = when;
  understood_ = 0;
  return taken();
}

std::vector<DecodeEvent> Decoder::feed(std::string_view bytes, const Stamp& when) {
  if (bytes.empty()) return {};
  if (modbus_) return modbus_->feed(bytes, when);
  if (opened_ && elapsed_ns(*opened_, when) < std::chrono::nanoseconds(dialect_->port.warm_up).count()) {
    discarded_ += bytes.size();
    offset_ += bytes.size();
    last_activity_ = when;
    return {};
  }
  settle(when);
  while (!bytes.empty()) {
    append(bytes.substr(0, slice), when);
    bytes.remove_prefix(std::min(slice, bytes.size()));
    cut();
  }
  last_activity_ = when;
  return taken();
}

std::vector<DecodeEvent> Decoder::poll(const Stamp& now) {
  if (modbus_) return modbus_->poll(now);
  settle(now);
  return taken();
}

std::vector<DecodeEvent> Decoder::gap(const Stamp&) {
  if (modbus_) return modbus_->gap();
  finish_unfinished(true);
  return taken();
}

bool Decoder::identified() const { return understood_ >= dialect_->frames_to_identify; }

std::optional<std::int64_t> Decoder::next_poll_ns() const {
  if (modbus_) return modbus_->next_poll_ns();
  const Framing& framing = dialect_->framing;
  if (!buffer_.empty()) return framing.give_up.count();
  if (trust_ == Trust::begins || !last_activity_) return std::nullopt;
  return trust_ == Trust::after_broken ? distrust_factor * framing.give_up.count() : framing.open_gap.count();
}

/// What the silence before `now` means.
void Decoder::settle(const Stamp& now) {
  if (!last_activity_) return;
  const Framing& framing = dialect_->framing;
  const std::int64_t silent = elapsed_ns(*last_activity_, now);
  if (!buffer_.empty() && silent >= framing.give_up.count()) finish_unfinished(false);
  if (!buffer_.empty()) return;
  const std::int64_t needed =
      trust_ == Trust::after_broken ? distrust_factor * framing.give_up.count() : framing.open_gap.count();
  if (silent >= needed) {
    trust_ = Trust::begins;
    skipping_ = false;
  }
}

void Decoder::append(std::string_view bytes, const Stamp& when) {
  const std::uint64_t at = offset_ + buffer_.size();
  if (wake_ups_.empty() || !(wake_ups_.back().second == when)) wake_ups_.emplace_back(at, when);
  buffer_.append(bytes);
}

void Decoder::cut() {
  switch (dialect_->framing.by) {
    case CutBy::terminator:
      cut_lines();
      break;
    case CutBy::start_end:
    case CutBy::length_byte:
      cut_marked();
      break;
    case CutBy::length:
      if (dialect_->framing.start.empty())
        cut_fixed();
      else
        cut_marked();
      break;
    case CutBy::idle_gap:
      while (buffer_.size() > dialect_->framing.longest) {
        emit_refused(dialect_->framing.longest,
                     {RefusalReason::too_long,
                      "longer than " + std::to_string(dialect_->framing.longest) + " bytes without a gap"});
        skipping_ = true;
      }
      break;
  }
}

Refusal Decoder::lost_border() const {
  if (trust_ == Trust::unseen_begin)
    return {RefusalReason::incomplete, "it began before the port was listened to"};
  return {RefusalReason::incomplete, "it follows a broken frame, and may be its rest"};
}

void Decoder::cut_lines() {
  const Framing& framing = dialect_->framing;
  const std::string& end = framing.end;
  for (;;) {
    const auto at = buffer_.find(end, searched_);
    if (at == std::string::npos) break;
    const std::size_t size = at + end.size();
    searched_ = 0;
    const bool too_long = skipping_ || size > framing.longest;
    if (too_long) {
      emit_refused(size, {RefusalReason::too_long, "longer than " + std::to_string(framing.longest) +
                                                       " bytes without its terminator"});
    } else if (trust_ != Trust::begins) {
      emit_refused(size, lost_border());
    } else {
      decode::Parsed parsed;
      const std::string_view frame(buffer_.data(), size);
      if (auto refusal = dialect_->plan->read(frame, parsed))
        emit(size, std::move(*refusal));
      else
        emit_understood(size, parsed.decoded());
    }
    trust_ = Trust::begins;
    skipping_ = false;
  }
  // A piece is given out only once no terminator can begin in it.
  while (buffer_.size() >= framing.longest + end.size() - 1) {
    emit_refused(framing.longest, {RefusalReason::too_long, "longer than " + std::to_string(framing.longest) +
                                                                " bytes without its terminator"});
    skipping_ = true;
  }
  searched_ = buffer_.size() >= end.size() ? buffer_.size() - end.size() + 1 : 0;
}

/// Frames that begin with start bytes: everything in front of them is garbage, a refused candidate is scanned
/// again one byte further on, and ends where the next start bytes stand.
void Decoder::cut_marked() {
  const std::string& start = dialect_->framing.start;
  for (;;) {
    const auto at = buffer_.find(start, garbage_);
    if (at == std::string::npos) {
      // A beginning of the start bytes may stand at the very end.
      std::size_t partial = std::min(start.size() - 1, buffer_.size() - garbage_);
      while (partial > 0 && buffer_.compare(buffer_.size() - partial, partial, start, 0, partial) != 0)
        --partial;
      garbage_ = buffer_.size() - partial;
      hold_garbage_bound();
      return;
    }
    if (at > 0) {
      const Refusal why =
          trust_ != Trust::begins ? lost_border() : Refusal{RefusalReason::not_mine, "bytes outside a frame"};
      emit_refused(at, why);
    }
    garbage_ = 0;
    trust_ = Trust::begins;
    if (!cut_candidate()) return;
  }
}

/// How long the frame at the front is. False: more bytes are needed to know. With `refusal` set it is none,
/// whatever follows.
bool Decoder::size_of_candidate(std::size_t& size, std::optional<Refusal>& refusal) const {
  const Framing& framing = dialect_->framing;
  if (framing.by == CutBy::length) {
    size = framing.length;
  } else if (framing.by == CutBy::length_byte) {
    if (buffer_.size() <= framing.length_at) return false;
    size = static_cast<unsigned char>(buffer_[framing.length_at]) + framing.length_adds;
    if (size < framing.shortest || size > framing.longest) {
      refusal = Refusal{size > framing.longest ? RefusalReason::too_long : RefusalReason::not_mine,
                        "its length byte says " + std::to_string(size) + " bytes"};
      size = framing.length_at + 1;
    }
  } else {
    const std::string_view reach = std::string_view(buffer_).substr(0, framing.longest);
    const auto end = reach.find(framing.end, framing.start.size());
    const bool found =
        end != std::string_view::npos && end + framing.end.size() + framing.after_end <= framing.longest;
    if (!found && buffer_.size() < framing.longest) return false;
    size = found ? end + framing.end.size() + framing.after_end : framing.longest;
    if (!found)
      refusal = Refusal{RefusalReason::too_long,
                        "longer than " + std::to_string(framing.longest) + " bytes without its end"};
  }
  return buffer_.size() >= size;
}

/// Where, behind its first byte, the next frame may begin in the front `size` bytes; `size` where nowhere.
std::size_t Decoder::next_start_in(std::size_t size) const {
  const std::string_view start = dialect_->framing.start;
  const std::string_view candidate(buffer_.data(), size);
  const std::size_t next = candidate.find(start, 1);
  if (next != std::string_view::npos) return next;
  for (std::size_t partial = std::min(start.size() - 1, size - 1); partial > 0; --partial) {
    if (candidate.substr(size - partial) == start.substr(0, partial)) return size - partial;
  }
  return size;
}

/// Tries the frame whose start bytes stand at the front. False: more bytes are needed.
bool Decoder::cut_candidate() {
  std::size_t size = 0;
  std::optional<Refusal> refusal;
  if (!size_of_candidate(size, refusal)) return false;
  decode::Parsed parsed;
  if (!refusal) {
    refusal = dialect_->plan->read(std::string_view(buffer_).substr(0, size), parsed);
    if (!refusal) {
      emit_understood(size, parsed.decoded());
      return true;
    }
    // Its checksum held: a whole frame that carries no value. Start bytes inside it are none.
    const bool whole =
        dialect_->plan->checks_itself() &&
        (refusal->reason == RefusalReason::out_of_range || refusal->reason == RefusalReason::unknown_unit ||
         refusal->reason == RefusalReason::unknown_status || refusal->reason == RefusalReason::not_a_number);
    if (whole) {
      emit(size, std::move(*refusal));
      return true;
    }
  }
  emit_refused(next_start_in(size), *refusal);
  return true;
}

/// The frame at the front gets no more bytes, but its length byte may have been wrong: whole frames that
/// prove themselves may stand behind its start.
void Decoder::cut_again_behind_broken() {
  const Refusal why{RefusalReason::incomplete, "the line fell silent before its end"};
  while (!buffer_.empty() && garbage_ == 0) {
    emit_refused(next_start_in(buffer_.size()), why);
    if (!buffer_.empty()) cut_marked();
  }
}

/// Frames known by their length alone. With a checksum a lost border is found again by trying every byte;
/// without one nothing but a gap can tell where the next frame begins.
void Decoder::cut_fixed() {
  const std::size_t length = dialect_->framing.length;
  const bool self_checking = dialect_->plan->checks_itself();
  while (buffer_.size() - garbage_ >= length) {
    if (!self_checking && trust_ != Trust::begins) {
      garbage_ = buffer_.size();
      garbage_why_ = lost_border();
      break;
    }
    decode::Parsed parsed;
    auto refusal = dialect_->plan->read(std::string_view(buffer_).substr(garbage_, length), parsed);
    if (!refusal) {
      if (garbage_ > 0) emit_refused(garbage_, garbage_why_);
      garbage_ = 0;
      trust_ = Trust::begins;
      emit_understood(length, parsed.decoded());
    } else if (self_checking) {
      if (garbage_ == 0) garbage_why_ = trust_ == Trust::begins ? std::move(*refusal) : lost_border();
      ++garbage_;
      hold_garbage_bound();
    } else {
      emit(length, std::move(*refusal));
      trust_ = Trust::after_broken;
    }
  }
  hold_garbage_bound();
}

/// Garbage is given out in pieces, so that it cannot grow.
void Decoder::hold_garbage_bound() {
  const std::size_t longest = longest_piece();
  while (garbage_ >= longest) {
    const bool fixed = dialect_->framing.start.empty();
    const Refusal why = fixed                     ? garbage_why_
                        : trust_ != Trust::begins ? lost_border()
                                                  : Refusal{RefusalReason::not_mine, "bytes outside a frame"};
    const std::size_t left = garbage_ - longest;
    emit_refused(longest, why);
    garbage_ = left;
  }
}

/// The line fell silent, or is known to have been: what is in the buffer gets no more bytes.
void Decoder::finish_unfinished(bool certain, bool may_be_whole) {
  const bool cut_again = may_be_whole && dialect_->framing.by == CutBy::length_byte &&
                         trust_ == Trust::begins && dialect_->plan->checks_itself();
  if (cut_again) {
    if (!buffer_.empty()) trust_ = Trust::after_broken;
    cut_again_behind_broken();
  }
  if (!buffer_.empty()) {
    const std::size_t size = buffer_.size();
    if (may_be_whole && dialect_->framing.by == CutBy::idle_gap && trust_ == Trust::begins && !skipping_) {
      decode::Parsed parsed;
      if (auto refusal = dialect_->plan->read(buffer_, parsed))
        emit(size, std::move(*refusal));
      else
        emit_understood(size, parsed.decoded());
    } else {
      Refusal why{RefusalReason::incomplete, "the line fell silent before its end"};
      if (skipping_)
        why = {RefusalReason::too_long, "the rest of a frame that was too long"};
      else if (trust_ != Trust::begins)
        why = lost_border();
      else if (garbage_ > 0)
        why = dialect_->framing.start.empty() ? garbage_why_
                                              : Refusal{RefusalReason::not_mine, "bytes outside a frame"};
      emit_refused(size, why);
      // The gap that cuts frames is a border by itself; elsewhere the rest of this frame may still come.
      trust_ = dialect_->framing.by == CutBy::idle_gap ? Trust::begins : Trust::after_broken;
    }
    buffer_.clear();
  }
  searched_ = 0;
  garbage_ = 0;
  skipping_ = false;
  if (certain || dialect_->framing.by == CutBy::idle_gap) trust_ = Trust::begins;
}

/// Garbage between frames may come in pieces somewhat longer than a short frame.
std::size_t Decoder::longest_piece() const {
  const Framing& framing = dialect_->framing;
  const bool pieces_are_frames = framing.by == CutBy::terminator || framing.by == CutBy::idle_gap;
  return pieces_are_frames ? framing.longest : std::max<std::size_t>(framing.longest, 64);
}

void Decoder::emit_refused(std::size_t count, const Refusal& refusal) {
  while (count > 0) {
    const std::size_t piece = std::min(count, longest_piece());
    emit(piece, refusal);
    count -= piece;
  }
}

void Decoder::emit_understood(std::size_t count, Decoded decoded) {
  if (understood_ < dialect_->frames_to_identify) ++understood_;
  emit(count, std::move(decoded));
}

void Decoder::emit(std::size_t count, std::variant<Decoded, Refusal> result) {
  DecodeEvent event{{}, std::move(result)};
  take_apart(count, event.frame);
  out_.push_back(std::move(event));
}

/// Moves `count` bytes from the front of the buffer into a frame, with the wake-ups that brought them.
void Decoder::take_apart(std::size_t count, Frame& frame) {
  const auto wake_up_of = [&](std::uint64_t at) {
    auto found = wake_ups_.begin();
    while (std::next(found) != wake_ups_.end() && std::next(found)->first <= at) ++found;
    return found;
  };
  frame.offset = offset_;
  frame.bytes = buffer_.substr(0, count);
  frame.first = wake_up_of(offset_)->second;
  const auto last = wake_up_of(offset_ + count - 1);
  frame.last = last->second;
  offset_ += count;
  buffer_.erase(0, count);
  if (buffer_.empty())
    wake_ups_.clear();
  else
    wake_ups_.erase(wake_ups_.begin(), wake_up_of(offset_));
}

}  // namespace tallystick
