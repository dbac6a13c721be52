// Inputs of derived computations, written short.
#pragma once

#include <string>
#include <vector>

#include "daemon/measure/derive.hpp"

namespace given {

inline tallystick::Unit unit(std::string_view name) { return tallystick::Unit::named(name).value(); }

inline tallystick::Quantity value(const std::string& text, std::string_view in = "mm") {
  return tallystick::Quantity::parse(text, unit(in)).value();
}

inline tallystick::derive::Input one(const std::string& name, const std::string& text,
                                     std::string_view in = "mm") {
  return {name, {value(text, in)}, {}, {}};
}

inline tallystick::derive::Input list(const std::string& name, const std::vector<std::string>& texts,
                                      std::string_view in = "mm") {
  tallystick::derive::Input out{name, {}, {}, {}};
  for (const auto& text : texts) out.values.push_back(value(text, in));
  return out;
}

inline tallystick::derive::Input word(const std::string& name, const std::string& text) {
  return {name, {}, {}, text};
}

inline tallystick::derive::Input sweeps(const std::string& name,
                                        std::vector<tallystick::derive::SweepFigures> figures) {
  return {name, {}, std::move(figures), {}};
}

/// What a line of the working says; empty: there is none.
inline std::string line(const tallystick::derive::Derived& derived, std::string_view name) {
  for (const auto& one : derived.working)
    if (one.name == name) return one.value + " " + one.unit;
  return {};
}

}  // namespace given
