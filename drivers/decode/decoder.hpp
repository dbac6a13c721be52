// From a stream of bytes to readings and typed refusals, by a dialect. One Decoder a port, fed by the port's
// owner. Pure: no I/O, no clock; time comes in with the bytes. Not thread-safe. Memory is bounded by the
// dialect's longest frame. However the same bytes are split over calls (with the same times), the same events
// come out.
//
// Every byte that is fed lies in the frame of exactly one event, in order, except those of the warm-up, which
// are counted by discarded().
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "drivers/decode/dialect.hpp"
#include "drivers/decode/event.hpp"
#include "drivers/decode/modbus_decoder.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick {

class Decoder {
 public:
  /// Until `opened` is called the first byte counts as after a gap.
  explicit Decoder(std::shared_ptr<const Dialect> dialect);

  /// The port was (re)opened: what is under way on the line began unseen. From now on bytes count only from
  /// behind a delimiter, or after an idle gap. A frame left over from before comes out as incomplete.
  std::vector<DecodeEvent> opened(const Stamp& when);

  /// Bytes of one wake-up, stamped at it.
  std::vector<DecodeEvent> feed(std::string_view bytes, const Stamp& when);

  /// These bytes went out as a request. Matters only where replies are understood by what was asked (register
  /// maps); what came before it unfinished comes out as refused then.
  std::vector<DecodeEvent> sent(std::string_view request, const Stamp& when);
  /// The request that went out last is not waited for any more.
  void given_up();

  /// Time passed without bytes: expires what is unfinished, ends a frame that is cut by a gap. May be called
  /// at any time; `next_poll` says when it would do something.
  std::vector<DecodeEvent> poll(const Stamp& now);

  /// The line is known to have been silent long enough (end of input, port lost): what is unfinished ends
  /// here, the next byte begins a frame.
  std::vector<DecodeEvent> gap(const Stamp& when);

  /// Nanoseconds after the last byte (or opening) at which `poll` would do something; empty: nothing waits.
  std::optional<std::int64_t> next_poll_ns() const;

  /// A pushed or asked gauge always; a streaming one once enough frames were understood since `opened`.
  bool identified() const;

  std::uint64_t discarded() const { return discarded_; }  ///< bytes of the warm-up
  const Dialect& dialect() const { return *dialect_; }

 private:
  /// Whether the next byte may begin a frame, and if not, what is known of the reason.
  enum class Trust : std::uint8_t { begins, unseen_begin, after_broken };

  void settle(const Stamp& now);
  void append(std::string_view bytes, const Stamp& when);
  void cut();
  void cut_lines();
  void cut_marked();
  void cut_fixed();
  bool cut_candidate();
  bool size_of_candidate(std::size_t& size, std::optional<Refusal>& refusal) const;
  std::size_t next_start_in(std::size_t size) const;
  void cut_again_behind_broken();
  void hold_garbage_bound();
  void finish_unfinished(bool certain, bool may_be_whole = true);
  std::size_t longest_piece() const;
  void emit_refused(std::size_t count, const Refusal& refusal);
  void emit_understood(std::size_t count, Decoded decoded);
  void emit(std::size_t count, std::variant<Decoded, Refusal> result);
  void take_apart(std::size_t count, Frame& frame);
  Refusal lost_border() const;
  std::vector<DecodeEvent> taken();

  std::shared_ptr<const Dialect> dialect_;
  std::optional<decode::ModbusDecoder> modbus_;  ///< does the work where the dialect is a register map
  std::string buffer_;        ///< bytes not yet given out
  std::uint64_t offset_ = 0;  ///< of buffer_[0]
  /// Wake-ups whose bytes are still in the buffer: offset of the first byte that each brought.
  std::vector<std::pair<std::uint64_t, Stamp>> wake_ups_;
  std::size_t searched_ = 0;  ///< buffer_ up to here holds no (further) terminator
  std::size_t garbage_ = 0;   ///< buffer_ up to here cannot begin a frame
  Refusal garbage_why_;       ///< of that garbage
  bool skipping_ = false;     ///< inside a frame that was given up as too long
  Trust trust_ = Trust::begins;
  std::optional<Stamp> last_activity_;
  std::optional<Stamp> opened_;
  int understood_ = 0;
  std::uint64_t discarded_ = 0;
  std::vector<DecodeEvent> out_;
};

}  // namespace tallystick
