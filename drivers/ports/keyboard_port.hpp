// The driver for gauges, pedals, scanners and badge readers that type like a keyboard.
//
// - The device is grabbed: while the port is open its keys reach no console and no other program.
// - What is typed without a pause until Enter or Tab is one text (decode/key_burst.hpp). A text that the
//   configuration names acts (a code card); any other goes through the port's dialect like the bytes of a
//   line, with the end key in place of the dialect's line end. Keys that the configuration names act at once
//   (a pedal, a button) and are never part of a text.
// - Times are those at which the kernel saw the keys.
// - A second device that fits the same key is never guessed at: the port is given up until only one fits.
#pragma once

#include <map>

#include "drivers/ports/key_source.hpp"
#include "drivers/ports/stream_port.hpp"

namespace tallystick::ports {

/// Values or texts come from the port; else only keys that act.
bool types_texts(const PortConfig& config);

class KeyboardPort : public StreamPort {
 public:
  KeyboardPort(PortConfig config, const Surroundings& surroundings);

  void start() override;
  void node_changed() override;
  std::vector<std::string> watched() const override;

 private:
  std::optional<Opening> open_wire() override;
  Error ended(const std::string& how) const override;
  bool read_once(const Stamp& now) override;
  std::optional<std::int64_t> also_wake_at() const override { return burst_.wake_at(); }
  void woke(const Stamp& now) override;
  void closed(const Stamp& now) override;

  void take_outcomes(std::vector<decode::KeyOutcome> outcomes, const Stamp& now);
  void take_burst(decode::Burst burst, const Stamp& now);
  void decode_text(const decode::Burst& burst, const Frame& frame, const Stamp& now);
  void refuse(Frame frame, Refusal why, const Stamp& now);
  void act(const KeyAction& action, const Frame& frame, const Stamp& now);

  std::shared_ptr<KeyDevices> devices_;
  KeySource* source_ = nullptr;  ///< the wire; valid while there is one
  decode::KeyBurst burst_;
  std::map<std::uint16_t, KeyAction> by_key_;
  std::map<std::string, KeyAction> by_text_;
  std::map<std::pair<KeyDeed, std::string>, std::int64_t> acted_at_;  ///< steady; by what was done to whom
};

}  // namespace tallystick::ports
