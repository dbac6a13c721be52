#include "tests/simulated/scenario.hpp"

#include <algorithm>
#include <stdexcept>

namespace tallystick::simulated {

Millionths millionths(const std::string& text) {
  bool negative = false;
  std::size_t at = 0;
  if (!text.empty() && (text[0] == '-' || text[0] == '+')) negative = text[at++] == '-';
  Millionths whole = 0;
  int decimals = -1;
  for (; at < text.size(); ++at) {
    if (text[at] == '.') {
      decimals = 0;
      continue;
    }
    if (text[at] < '0' || text[at] > '9' || decimals >= 6) throw std::runtime_error("not a decimal of this model: " + text);
    whole = whole * 10 + (text[at] - '0');
    if (decimals >= 0) ++decimals;
  }
  for (int n = std::max(decimals, 0); n < 6; ++n) whole *= 10;
  return negative ? -whole : whole;
}

std::string decimal(Millionths value) {
  const bool negative = value < 0;
  const auto amount = static_cast<std::uint64_t>(negative ? -value : value);
  std::string fraction = std::to_string(amount % 1'000'000);
  fraction.insert(0, 6 - fraction.size(), '0');
  while (fraction.size() > 3 && fraction.back() == '0') fraction.pop_back();   // gauges show thousandths at least
  return (negative ? "-" : "") + std::to_string(amount / 1'000'000) + "." + fraction;
}

bool inside(const Print& print, Millionths value) { return (!print.has_lower || value >= print.lower) && value <= print.upper; }

const Print& print_of(const Scenario& scenario, const std::string& feature) {
  for (const auto& print : scenario.prints)
    if (print.key == feature) return print;
  throw std::runtime_error("no feature " + feature);
}

namespace {

Print reading(const std::string& key, const std::string& gauge_kind, const std::string& lower, const std::string& upper, int places = 1) {
  Print out{key, "reading", gauge_kind, millionths(lower), millionths(upper), 0, 0, true, places, false};
  const auto width = out.upper - out.lower;
  out.plausible_lower = out.lower - 5 * width;
  out.plausible_upper = out.upper + 5 * width;
  return out;
}

std::vector<Print> every_print() {
  std::vector<Print> out;
  out.push_back(reading("length", "height-gauge", "29.9", "30.1"));
  out.push_back(reading("outside", "micrometer", "34.026", "34.042"));
  out.push_back(reading("flange", "micrometer", "39.95", "40.05", 2));
  out.push_back(reading("collar", "micrometer", "36.00", "36.02", 2));
  out.back().mean = true;
  out.push_back(reading("bore", "bore-gauge", "25.000", "25.021"));
  out.push_back({"runout", "capture", "indicator", 0, millionths("0.020"), 0, millionths("0.120"), false, 1, false});
  out.push_back({"thread", "go_no_go", "", 0, 0, 0, 0, true, 2, false});
  out.push_back({"burr", "look", "", 0, 0, 0, 0, true, 1, false});
  return out;
}

/// A value of a good part, often at its very limit, or of a bad one, often one count of the gauge beyond it.
Millionths true_value(const Print& print, bool good, Dice& dice) {
  if (print.kind == "go_no_go" || print.kind == "look") return good ? 1 : 0;
  const Millionths step = 1000;
  const Millionths low = print.has_lower ? print.lower : 0;
  if (good) {
    if (dice.chance(0.1)) return print.upper;
    if (dice.chance(0.1)) return low;
    return low + dice.between(0, (print.upper - low) / step) * step;
  }
  const bool above = !print.has_lower || dice.chance(0.5);
  Millionths beyond = dice.chance(0.4) ? step : dice.between(1, (print.upper - low) / step) * step;
  if (dice.chance(0.1)) beyond = 7 * (print.upper - low);   // beyond what is plausible
  return above ? print.upper + beyond : print.lower - beyond;
}

TruePart true_part(const Scenario& scenario, Dice& dice) {
  TruePart out;
  for (const auto& print : scenario.prints) {
    const bool good = !dice.chance(0.06);
    for (int place = 0; place < print.places; ++place)
      out.values[print.key + "/" + std::to_string(place)] = true_value(print, good || (place > 0 && dice.chance(0.5)), dice);
  }
  return out;
}

void fill(Scenario& scenario, Dice& dice) {
  for (std::int64_t serial = 1; serial <= scenario.parts; ++serial) scenario.truth[serial] = true_part(scenario, dice);
}

}  // namespace

Scenario make_scenario(std::uint64_t seed) {
  Dice dice(seed * 7919 + 17);
  Scenario out;
  out.seed = seed;
  out.benches = dice.chance(0.3) ? 2 : 1;
  out.parts = dice.between(2, 5);
  out.stage = dice.chance(0.4) ? "in process" : "final";
  out.after_reject = dice.chance(0.1) ? "end_part" : dice.chance(0.1) ? "stop_walk" : "go_on";
  out.next_part = dice.chance(0.2) ? "by_key" : "by_itself";
  out.height_is_asked = dice.chance(0.3);
  out.commits_a_turn = dice.chance(0.3) ? 0.4 : 2;
  for (const auto& print : every_print())
    if (print.key == "length" || dice.chance(0.45)) out.prints.push_back(print);
  fill(out, dice);
  Dice trays(seed * 6151 + 11);   // dice of their own: the other seeds stay what they were
  if (trays.chance(0.3)) out.tray = static_cast<int>(trays.between(2, 4));
  return out;
}

Scenario make_crowd(std::uint64_t seed) {
  Dice dice(seed * 104729 + 3);
  Scenario out;
  out.seed = seed;
  out.benches = 8;
  out.parts = 60;
  out.tray = seed % 2 == 0 ? 4 : 0;
  out.commits_a_turn = dice.chance(0.5) ? 0.8 : 4;
  for (const auto& print : every_print())
    if (print.key == "length" || print.key == "outside") out.prints.push_back(print);
  fill(out, dice);
  return out;
}

}  // namespace tallystick::simulated
