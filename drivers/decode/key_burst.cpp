#include "drivers/decode/key_burst.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "drivers/decode/key_names.hpp"

namespace tallystick::decode {
namespace {

/// No device has so many keys down at once; more is a stream of nonsense.
constexpr std::size_t most_held = 64;

bool is_lock(std::uint16_t code) {
  return code == key::caps_lock || code == key::num_lock || code == key::scroll_lock;
}

bool is_modifier(std::uint16_t code) {
  static constexpr std::array all{key::left_ctrl, key::right_ctrl, key::left_shift, key::right_shift,
                                  key::left_alt,  key::right_alt,  key::left_meta,  key::right_meta};
  return std::find(all.begin(), all.end(), code) != all.end();
}

bool is_enter(std::uint16_t code) { return code == key::enter || code == key::keypad_enter; }

}  // namespace

void KeyBurst::forget() {
  burst_.reset();
  dead_.clear();
  full_ = false;
}

void KeyBurst::opened(std::int64_t now_ns) {
  forget();
  down_.clear();
  caps_ = false;
  unseen_ = true;
  unseen_why_ = "it began before the port was open";
  last_ns_ = now_ns;
}

std::optional<std::int64_t> KeyBurst::wake_at() const {
  return burst_ || unseen_ ? std::optional(last_ns_ + rules_.gap_ns) : std::nullopt;
}

std::vector<KeyOutcome> KeyBurst::poll(std::int64_t now_ns) {
  std::vector<KeyOutcome> out;
  if (now_ns - last_ns_ < rules_.gap_ns) return out;
  if (burst_) finish(BurstEnd::gap, out);
  unseen_ = false;
  return out;
}

std::vector<KeyOutcome> KeyBurst::cut_off() {
  std::vector<KeyOutcome> out;
  if (burst_) {
    refuse(RefusalReason::incomplete, "it was cut off when the device went away");
    finish(BurstEnd::gap, out);
  }
  forget();
  down_.clear();
  unseen_ = false;
  return out;
}

std::vector<KeyOutcome> KeyBurst::feed(const KeyEvent& event) {
  std::vector<KeyOutcome> out = poll(event.at_ns);
  const bool dropped = event.type == KeyEvent::report_type && event.code == KeyEvent::dropped_code;
  if (dropped) {
    // Which keys went down meanwhile nobody knows: neither what was begun nor what comes next is whole.
    const std::string why = "events of the device were lost while it typed";
    if (burst_) refuse(RefusalReason::incomplete, why);
    dead_.clear();
    down_.clear();
    unseen_ = true;
    unseen_why_ = why;
    last_ns_ = std::max(last_ns_, event.at_ns);
    return out;
  }
  if (event.type != KeyEvent::key_type || event.value < 0 || event.value > 1) return out;
  last_ns_ = std::max(last_ns_, event.at_ns);
  if (event.value == 0) {
    down_.erase(event.code);
    return out;
  }
  down(event, out);
  return out;
}

void KeyBurst::down(const KeyEvent& event, std::vector<KeyOutcome>& out) {
  const std::uint16_t code = event.code;
  const bool twice = held(code);
  if (down_.size() < most_held) down_.insert(code);
  if (rules_.own.contains(code)) {
    if (!twice) out.emplace_back(KeyPress{code, event.at_ns});
    return;
  }
  if (code == key::caps_lock) caps_ = !caps_;
  if (is_lock(code) || is_modifier(code)) return;
  if (ends(code)) {
    if (burst_) finish(is_enter(code) ? BurstEnd::enter : BurstEnd::tab, out);
    unseen_ = false;
    return;
  }
  if (!burst_) {
    burst_.emplace();
    burst_->first_ns = last_ns_;
  }
  if (unseen_) refuse(RefusalReason::incomplete, unseen_why_);
  // The kernel tells of a key only when it changes: a second time down means that an event is missing.
  if (twice)
    refuse(RefusalReason::incomplete, "key " + key_name(code) + " went down twice: an event was lost");
  type(code);
}

/// Enter and Tab end a burst by themselves; together with Ctrl, Alt or the like they are no end.
bool KeyBurst::ends(std::uint16_t code) const {
  if (!(rules_.enter && is_enter(code)) && !(rules_.tab && code == key::tab)) return false;
  return combination().empty();
}

/// Keys held that make a command of the next one: "leftctrl+"; empty: none.
std::string KeyBurst::combination() const {
  std::string out;
  for (const std::uint16_t code :
       {key::left_ctrl, key::right_ctrl, key::left_alt, key::right_alt, key::left_meta, key::right_meta}) {
    if (code == key::right_alt && rules_.layout.has_alt_graph()) continue;
    if (held(code)) out += key_name(code) + "+";
  }
  return out;
}

KeyLevel KeyBurst::level() const {
  const bool shift = held(key::left_shift) || held(key::right_shift);
  const bool alt_graph = rules_.layout.has_alt_graph() && held(key::right_alt);
  return shift ? (alt_graph ? KeyLevel::both : KeyLevel::shift)
               : (alt_graph ? KeyLevel::alt_graph : KeyLevel::plain);
}

void KeyBurst::type(std::uint16_t code) {
  const std::string command = combination();
  const TypedText typed = code == key::tab ? TypedText{"\t", false}
                          : is_enter(code) ? TypedText{"\r", false}
                                           : rules_.layout.typed(code, level(), caps_);
  const std::string before = std::exchange(dead_, {});
  if (!before.empty() && typed.text == " " && command.empty()) return add(before);
  if (!before.empty()) {
    refuse(RefusalReason::not_mine, "the dead key " + before + " before key " + key_name(code) +
                                        ": only before the space bar does it type a character here");
    add(before);
  }
  if (!command.empty()) {
    refuse(RefusalReason::not_mine, "keys " + command + key_name(code) + " are a command, not a text");
    return add("<" + command + key_name(code) + ">");
  }
  if (typed.nothing()) {
    const KeyLevel with = level();
    const std::string also = with == KeyLevel::plain   ? ""
                             : with == KeyLevel::shift ? " with shift"
                             : with == KeyLevel::both  ? " with shift and AltGr"
                                                       : " with AltGr";
    refuse(RefusalReason::not_mine,
           "key " + key_name(code) + also + " types nothing in layout " + std::string(rules_.layout.name()));
    return add("<" + key_name(code) + ">");
  }
  if (typed.dead) {
    dead_ = typed.text;
    return;
  }
  add(typed.text);
}

void KeyBurst::add(std::string_view text) {
  // Behind a piece that did not fit nothing is added, so that what is kept is a true beginning.
  full_ = full_ || burst_->text.size() + text.size() > rules_.longest;
  if (full_)
    return refuse(RefusalReason::too_long,
                  "more than " + std::to_string(rules_.longest) + " bytes were typed");
  burst_->text += text;
}

/// The first reason stands.
void KeyBurst::refuse(RefusalReason reason, std::string detail) {
  if (!burst_->refusal) burst_->refusal = Refusal{reason, std::move(detail)};
}

void KeyBurst::finish(BurstEnd end, std::vector<KeyOutcome>& out) {
  burst_->end = end;
  burst_->last_ns = last_ns_;
  if (!dead_.empty()) {
    refuse(RefusalReason::not_mine, "it ends with the dead key " + dead_);
    add(dead_);
  }
  if (end == BurstEnd::gap && !rules_.gap) {
    const std::string wanted = rules_.enter ? (rules_.tab ? "Enter or Tab" : "Enter") : "Tab";
    refuse(RefusalReason::incomplete,
           "no " + wanted + " came within " + std::to_string(rules_.gap_ns / 1'000'000) + " ms");
  }
  out.emplace_back(std::move(*burst_));
  forget();
}

}  // namespace tallystick::decode
