// The seam to the operating system's input devices: where a keyboard port's events come from. Behind it
// stands libevdev; tests hand in recorded events.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "drivers/decode/key_burst.hpp"
#include "drivers/ports/keyboard_finder.hpp"
#include "drivers/ports/wire.hpp"

namespace tallystick::ports {

/// An open device; its descriptor becomes readable when events wait.
class KeySource : public Wire {
 public:
  /// The next event, or nothing where none waits. Behind a report that events were dropped come the keys that
  /// changed meanwhile. An error is the end: `what` is how the system put it.
  virtual Expected<std::optional<decode::KeyEvent>> next() = 0;
};

/// The input devices of a machine.
class KeyDevices {
 public:
  virtual ~KeyDevices() = default;
  /// Opens the device that the settings mean (choose_keyboard) and grabs it: from then on its keys reach
  /// nobody else, no console and no program. Does not block. Errors: those of choose_keyboard, "port_denied",
  /// "port_busy" (somebody else has grabbed it), "keys_held" (a key is down: its release would be missing
  /// where its press went), "port_failed".
  virtual Expected<std::unique_ptr<KeySource>> open(const KeyboardSettings& settings, bool types,
                                                    const std::string& where) = 0;
  /// While a device is open: "port_ambiguous" where another one fits the settings as well by now.
  virtual std::optional<Error> doubt(const KeyboardSettings& settings, bool types,
                                     const std::string& where) = 0;
  /// Folders ("/" at their end) in which devices come and go.
  virtual std::vector<std::string> watched() const { return {"/dev/input/"}; }
};

/// Linux's, through libevdev.
std::shared_ptr<KeyDevices> evdev_devices();

}  // namespace tallystick::ports
