// What comes to `decide`.
#pragma once

#include <boost/json.hpp>
#include <optional>
#include <string>

#include "daemon/walk/captured.hpp"
#include "daemon/walk/desk_door.hpp"
#include "drivers/decode/reading.hpp"

namespace tallystick::walk {

/// One input, already stamped. `kind` as FORMAT.md lists them ("reading", "act", "walk_begun", ...). A reading's
/// value travels in `reading`; everything else in `body`.
struct Input {
  std::string kind;
  Stamp stamp;
  std::string bench;
  Saw saw;
  std::string idempotency_key;
  std::string display;
  boost::json::object body;
  std::optional<Reading> reading;
  std::optional<Captured> captured;  ///< of "capture_ended", but where one frame alone was wanted; `reading` is its value
};

/// The input as the journal keeps it: JSON text. Raw bytes are kept beside it, not in it.
std::string to_json_text(const Input& input);

}  // namespace tallystick::walk
