// A serial line as levels over time: what a gauge sends with its settings, and what a receiver with other
// settings takes it for. Start bit low, data bits lowest first, parity, stop bits high; sampled in the middle
// of each bit, a wrong stop bit passes (as a terminal line without parity checking hands it on). The frame:
// common practice of start-stop lines; from memory.
#pragma once

#include <bit>
#include <string>
#include <vector>

#include "drivers/decode/dialect.hpp"

namespace tallystick::learn_tests {

/// Levels, one a bit time of `line`.
inline std::vector<bool> levels(const std::string& bytes, const PortSettings& line) {
  std::vector<bool> out(3, true);
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned>(static_cast<unsigned char>(c)) & ((1U << line.data_bits) - 1U);
    out.push_back(false);
    for (int bit = 0; bit < line.data_bits; ++bit) out.push_back((byte >> bit & 1U) != 0);
    const bool odd_ones = std::popcount(byte) % 2 == 1;
    if (line.parity == Parity::even) out.push_back(odd_ones);
    if (line.parity == Parity::odd) out.push_back(!odd_ones);
    for (int i = 0; i < line.stop_bits; ++i) out.push_back(true);
  }
  out.insert(out.end(), 40, true);
  return out;
}

/// What a receiver takes those levels for.
inline std::string heard(const std::string& sent, const PortSettings& gauge, const PortSettings& receiver) {
  const auto line = levels(sent, gauge);
  // Time in steps of 1 / (16 x the faster speed).
  const long step = 16L * std::max(gauge.baud, receiver.baud);
  const auto level_at = [&](long long time) {
    const auto bit = static_cast<std::size_t>(time * gauge.baud / step);
    return bit >= line.size() || line[bit];
  };
  const long long bit_time = step / receiver.baud,
                  end = static_cast<long long>(line.size()) * step / gauge.baud;
  std::string out;
  long long time = 0;
  bool broken = false;  // the last stop bit was low: it is the next start bit
  while (time < end) {
    if (!broken) {
      while (time < end && !level_at(time)) ++time;
      while (time < end && level_at(time)) ++time;
    }
    if (time >= end) break;
    unsigned byte = 0;
    for (int bit = 0; bit < receiver.data_bits; ++bit) {
      if (level_at(time + bit_time * 3 / 2 + bit * bit_time)) byte |= 1U << bit;
    }
    out += static_cast<char>(byte);
    const int behind = receiver.data_bits + (receiver.parity == Parity::none ? 0 : 1);
    const long long stop_at = time + bit_time * 3 / 2 + behind * bit_time;  // its middle
    broken = !level_at(stop_at);
    time = broken ? stop_at - bit_time / 2 : stop_at;
  }
  return out;
}

}  // namespace tallystick::learn_tests
