// From keys that go down and up to the texts that a device types: a burst is what comes without a pause until
// Enter, Tab or the pause that ends it. One KeyBurst a device, so two devices never mix. Pure: no I/O, no
// clock; time comes in with the events. Memory is bounded by the longest text.
#pragma once

#include <cstdint>
#include <optional>
#include <set>
#include <string>
#include <variant>
#include <vector>

#include "drivers/decode/key_layout.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick::decode {

/// One event of an input device, as the kernel reports it; `at_ns` is steady time. Of the types only keys
/// (1) and the report that events were dropped (0 with code 3) matter; every other is passed over.
struct KeyEvent {
  std::uint16_t type = 1;
  std::uint16_t code = 0;
  std::int32_t value = 0;  ///< 1 down, 0 up, 2 held down (its repeats count for nothing)
  std::int64_t at_ns = 0;

  static constexpr std::uint16_t key_type = 1, report_type = 0, dropped_code = 3;
};

enum class BurstEnd : std::uint8_t { enter, tab, gap };

/// What was typed. The text is UTF-8; of a refused burst it names what typed nothing in sharp brackets
/// ("12<f7>3"), so that nothing is lost.
struct Burst {
  std::string text;
  BurstEnd end = BurstEnd::gap;
  std::optional<Refusal> refusal;  ///< never a reading, never a code
  std::int64_t first_ns = 0;       ///< of its first key
  std::int64_t last_ns = 0;        ///< of its last key, the one that ended it too
};

/// A key that stands for itself (a pedal's, a button's) went down.
struct KeyPress {
  std::uint16_t code = 0;
  std::int64_t at_ns = 0;
};

using KeyOutcome = std::variant<Burst, KeyPress>;

class KeyBurst {
 public:
  struct Rules {
    KeyLayout layout;
    bool enter = true, tab = true;  ///< what ends a burst; a key that does not is a character of it
    bool gap = false;               ///< a pause ends it too; else a burst that breaks off is incomplete
    std::int64_t gap_ns = 100'000'000;
    std::size_t longest = 256;    ///< bytes of text
    std::set<std::uint16_t> own;  ///< keys that stand for themselves: never part of a text
  };
  explicit KeyBurst(Rules rules) : rules_(std::move(rules)) {}

  /// The device was (re)opened: what is being typed began unseen. It is refused up to its end or to the first
  /// pause.
  void opened(std::int64_t now_ns);
  std::vector<KeyOutcome> feed(const KeyEvent& event);
  /// Time passed: a pause may have ended a burst. May be called at any time; `wake_at` says when it would do
  /// something.
  std::vector<KeyOutcome> poll(std::int64_t now_ns);
  std::optional<std::int64_t> wake_at() const;
  /// The device went away. What was begun comes out refused; nothing of it is left.
  std::vector<KeyOutcome> cut_off();

 private:
  void down(const KeyEvent& event, std::vector<KeyOutcome>& out);
  void type(std::uint16_t code);
  void add(std::string_view text);
  void refuse(RefusalReason reason, std::string detail);
  void finish(BurstEnd end, std::vector<KeyOutcome>& out);
  void forget();
  bool held(std::uint16_t code) const { return down_.contains(code); }
  std::string combination() const;
  KeyLevel level() const;
  bool ends(std::uint16_t code) const;

  Rules rules_;
  std::set<std::uint16_t> down_;
  std::optional<Burst> burst_;
  std::string dead_;   ///< what the dead key before carries; empty: none
  bool full_ = false;  ///< the text has reached its longest
  bool caps_ = false;
  bool unseen_ = false;  ///< what is being typed may have begun unseen
  std::string unseen_why_;
  std::int64_t last_ns_ = 0;  ///< of the last key that went down or up, or of opening
};

}  // namespace tallystick::decode
