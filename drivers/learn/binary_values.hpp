// Which bytes of a body that is no text may hold the number that the display showed. Pure.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "drivers/decode/binary_body.hpp"
#include "drivers/learn/heard.hpp"

namespace tallystick::learn {

/// One press whose display showed a number.
struct BinaryFrame {
  std::string body;
  const Press* press = nullptr;
  bool negative() const { return press->shown->negative && !press->shown->zero(); }
  std::string unit() const {
    return press->shown->unit ? std::string(press->shown->unit->name()) : std::string();
  }
};

/// A way to read the value that gives the shown number in every frame, but for the mark and perhaps the sign.
struct BinaryCandidate {
  decode::BinaryValue value;
  std::map<std::string, std::set<int>> decimals;  ///< fixed ones that fit, by unit
  std::vector<std::set<int>> each;                ///< those that fit each frame
  bool own_sign() const {
    return value.form == decode::BinaryForm::twos_complement ||
           value.form == decode::BinaryForm::sign_magnitude;
  }
};

/// The likeliest first. All bodies must have one size.
std::vector<BinaryCandidate> binary_candidates(const std::vector<BinaryFrame>& frames);

}  // namespace tallystick::learn
