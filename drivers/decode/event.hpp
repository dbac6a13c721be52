// What became of one frame.
#pragma once

#include <variant>

#include "drivers/decode/reading.hpp"

namespace tallystick {

struct DecodeEvent {
  Frame frame;
  std::variant<Decoded, Refusal> result;

  const Decoded* decoded() const { return std::get_if<Decoded>(&result); }
  const Refusal* refusal() const { return std::get_if<Refusal>(&result); }
};

}  // namespace tallystick
