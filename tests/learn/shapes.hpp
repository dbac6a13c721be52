// Invented gauges for the learner: what each sends for what its display shows. All of it is made here, by
// plain text code that shares nothing with the learner.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "drivers/learn/heard.hpp"

namespace tallystick::learn_tests {

/// A value on an invented display, taken from "2: -12.345 mm low_battery" (channel and status may be absent).
struct Display {
  std::string channel, digits, unit, status;
  bool negative = false;
  std::string whole() const;     ///< digits in front of the mark
  std::string decimals() const;  ///< behind it
  std::string all() const { return whole() + decimals(); }
  std::string sign(const char* plus = "+") const { return negative ? "-" : plus; }
};
Display display_of(const std::string& shown);

struct Gauge {
  std::string name;
  PortSettings line;
  std::function<std::string(const Display&)> send;
  std::vector<std::string> pressed;  ///< what it showed while it was learned
  std::vector<std::string> later;    ///< other values of the same gauge, never seen while learning
};

/// Every gauge that can be learned.
std::vector<Gauge> gauges();

std::string padded(const std::string& text, std::size_t width, char with);
PortSettings line_of(const std::string& text);

}  // namespace tallystick::learn_tests
