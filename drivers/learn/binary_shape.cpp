#include <algorithm>
#include <bit>
#include <functional>
#include <set>

#include "drivers/learn/binary_values.hpp"
#include "drivers/learn/shape.hpp"

namespace tallystick::learn {

namespace {

using decode::BinaryForm;
using decode::BinaryValue;

/// By chance a value of few bits stands somewhere: so many different numbers must have been found.
constexpr std::size_t values_needed = 3;
constexpr std::uint8_t low_nibble = 0x0F, high_nibble = 0xF0, whole_byte = 0xFF;

/// Bits of the body that a part takes.
using Mask = std::vector<std::uint8_t>;

std::string hex_byte(unsigned value) {
  static constexpr char digits[] = "0123456789ABCDEF";
  return std::string("0x") + digits[value >> 4U & 0xFU] + digits[value & 0xFU];
}

std::string bits_text(const decode::BinaryBits& bits) {
  return "at = " + std::to_string(bits.at + 1) + (bits.mask == 0xFF ? "" : ", mask = " + hex_byte(bits.mask));
}

std::string value_text(const BinaryValue& value) {
  static constexpr const char* forms[] = {"packed", "unpacked", "whole", "twos_complement", "sign_magnitude"};
  return "value = { at = " + std::to_string(value.at + 1) + ", width = " + std::to_string(value.width) +
         ", form = \"" + forms[static_cast<std::size_t>(value.form)] + "\"" +
         (value.low_byte_first ? ", byte_order = \"low_first\"" : "") +
         (value.low_nibble_first ? ", nibble_order = \"low_first\"" : "") +
         (value.skip > 0 ? ", skip_nibbles = " + std::to_string(value.skip) : "") +
         (value.digits > 0 ? ", digits = " + std::to_string(value.digits) : "") +
         (value.zone > 0 ? ", zone = " + std::to_string(value.zone) : "") +
         (value.blank ? ", blank = " + std::to_string(*value.blank) : "") + " }";
}

/// Gives every bit outside the value a meaning.
class Layout {
 public:
  Layout(const std::vector<BinaryFrame>& frames, const BinaryCandidate& candidate)
      : frames_(frames), candidate_(candidate), free_(frames.front().body.size(), 0xFF) {
    for (const auto& [at, mask] : decode::bits_of(candidate.value)) take({at, mask});
  }

  std::optional<Remark> build(Shape& shape) {
    shape.binary.push_back("width = " + std::to_string(free_.size()));
    shape.binary.push_back(value_text(candidate_.value));
    if (auto why = places(shape)) return why;
    if (auto why = sign(shape)) return why;
    if (auto why = unit(shape)) return why;
    part(
        shape, "channel", [](const BinaryFrame& frame) { return frame.press->shown->channel.value_or(""); },
        nullptr);
    part(
        shape, "status",
        [](const BinaryFrame& frame) {
          return std::string(name(frame.press->shown->status.value_or(GaugeStatus::ok)));
        },
        &shape.status_map);
    return rest(shape);
  }

 private:
  void take(const decode::BinaryBits& bits) {
    free_[bits.at] = static_cast<std::uint8_t>(free_[bits.at] & ~bits.mask);
  }
  std::uint8_t byte(const BinaryFrame& frame, std::size_t at) const {
    return static_cast<std::uint8_t>(frame.body[at]);
  }

  /// The free bits of a byte that differ between frames.
  std::uint8_t changing(std::size_t at) const {
    std::uint8_t out = 0;
    for (const auto& frame : frames_)
      out = static_cast<std::uint8_t>(out | ((byte(frame, at) ^ byte(frames_.front(), at)) & free_[at]));
    return out;
  }

  /// Bits side by side, all free and changing with `of` alone, that tell its values apart; the first in the
  /// body.
  std::optional<decode::BinaryBits> telling(const std::function<std::string(const BinaryFrame&)>& of) const {
    for (std::size_t at = 0; at < free_.size(); ++at) {
      std::uint8_t telling_bits = 0;
      for (unsigned bit = 0; bit < 8; ++bit) {
        const auto mask = static_cast<std::uint8_t>(1U << bit);
        if ((changing(at) & mask) != 0 && is_function({at, mask}, of)) telling_bits |= mask;
      }
      if (telling_bits == 0) continue;
      const auto low = static_cast<unsigned>(std::countr_zero(telling_bits));
      const auto high = 7U - static_cast<unsigned>(std::countl_zero(telling_bits));
      const auto mask = static_cast<std::uint8_t>(((2U << high) - 1U) & ~((1U << low) - 1U));
      const decode::BinaryBits bits{at, mask};
      if ((mask & free_[at]) == mask && is_function(bits, of) && tells_apart(bits, of)) return bits;
    }
    return std::nullopt;
  }

  /// Frames of which `of` says the same have the same bits. An empty text says nothing.
  bool is_function(decode::BinaryBits bits, const std::function<std::string(const BinaryFrame&)>& of) const {
    std::map<std::string, std::uint8_t> seen;
    for (const auto& frame : frames_) {
      const std::string what = of(frame);
      if (what.empty()) continue;
      const auto [at, first] = seen.emplace(what, bits.of(frame.body));
      if (!first && at->second != bits.of(frame.body)) return false;
    }
    return true;
  }
  bool tells_apart(decode::BinaryBits bits, const std::function<std::string(const BinaryFrame&)>& of) const {
    std::map<std::uint8_t, std::string> seen;
    for (const auto& frame : frames_) {
      const std::string what = of(frame);
      if (what.empty()) continue;
      const auto [at, first] = seen.emplace(bits.of(frame.body), what);
      if (!first && at->second != what) return false;
    }
    return true;
  }

  static std::string sign_of(const BinaryFrame& frame) {
    return frame.press->shown->zero() ? "" : frame.negative() ? "-" : "+";
  }

  /// Fixed decimals, by unit where they differ, else a nibble or byte that says them.
  std::optional<Remark> places(Shape& shape) {
    std::map<std::string, int> fixed;
    for (const auto& [unit, fit] : candidate_.decimals) {
      if (!fit.empty()) fixed[unit] = *fit.begin();
    }
    const bool every = fixed.size() == candidate_.decimals.size();
    const bool same =
        every && std::ranges::all_of(fixed, [&](const auto& f) { return f.second == fixed.begin()->second; });
    if (same) {
      shape.implied_decimals = fixed.begin()->second;
      return std::nullopt;
    }
    for (std::size_t at = 0; at < free_.size(); ++at) {
      for (const std::uint8_t mask : {low_nibble, high_nibble, whole_byte}) {
        const decode::BinaryBits bits{at, mask};
        if ((free_[at] & mask) != mask) continue;
        bool all = true;
        for (std::size_t i = 0; i < frames_.size() && all; ++i)
          all = candidate_.each[i].contains(bits.of(frames_[i].body));
        if (!all) continue;
        take(bits);
        shape.binary.push_back("places = { " + bits_text(bits) + " }");
        return std::nullopt;
      }
    }
    if (every && !fixed.contains("")) {
      shape.decimals_by_unit = fixed;
      return std::nullopt;
    }
    return Remark{"decimals_unexplained", ""};
  }

  std::optional<Remark> sign(Shape& shape) {
    const bool any = std::ranges::any_of(frames_, [](const auto& frame) { return frame.negative(); });
    if (!any) {
      shape.unseen.push_back({"sign_not_seen", ""});
      return std::nullopt;
    }
    if (candidate_.own_sign()) return std::nullopt;
    const auto bits = telling(sign_of);
    if (!bits) return Remark{"sign_not_found", ""};
    if (!std::ranges::any_of(frames_, [](const auto& frame) { return sign_of(frame) == "+"; }))
      return Remark{"only_negative", ""};
    std::uint8_t negative = 0, positive = 0;
    for (const auto& frame : frames_) {
      if (sign_of(frame) == "-") negative = bits->of(frame.body);
      if (sign_of(frame) == "+") positive = bits->of(frame.body);
    }
    // The same bits must not tell the unit as well: then nobody knows which of the two they mean.
    if (tells_unit(*bits)) return Remark{"sign_or_unit", ""};
    take(*bits);
    shape.binary.push_back("sign = { " + bits_text(*bits) + ", negative = " + std::to_string(negative) +
                           ", positive = " + std::to_string(positive) + " }");
    return std::nullopt;
  }

  bool tells_unit(decode::BinaryBits bits) const {
    std::set<std::string> units;
    for (const auto& frame : frames_) units.insert(frame.unit());
    const auto unit = [](const BinaryFrame& frame) { return frame.unit(); };
    return units.size() > 1 && is_function(bits, unit) && tells_apart(bits, unit);
  }

  std::optional<Remark> unit(Shape& shape) {
    std::set<std::string> units;
    for (const auto& frame : frames_) units.insert(frame.unit());
    units.erase("");
    if (units.empty()) return Remark{"unit_unknown", ""};
    if (units.size() == 1) {
      shape.unit = *units.begin();
      shape.unseen.push_back({"unit_not_sent", *shape.unit});
      return std::nullopt;
    }
    if (part(
            shape, "unit", [](const BinaryFrame& frame) { return frame.unit(); }, &shape.unit_map))
      return std::nullopt;
    return Remark{"unit_not_in_frame", *units.begin() + ", " + *units.rbegin()};
  }

  /// A part that tells the values of `of` apart, with its map. Of a channel the number itself must stand
  /// there.
  bool part(Shape& shape, const std::string& key, const std::function<std::string(const BinaryFrame&)>& of,
            std::map<std::string, std::string>* map) {
    if (map == nullptr) return channel(shape, key, of);
    const auto bits = telling(of);
    if (!bits) return false;
    std::map<std::string, std::string> found;
    for (const auto& frame : frames_) {
      if (!of(frame).empty()) found.emplace(std::to_string(bits->of(frame.body)), of(frame));
    }
    if (found.size() < 2) return false;
    take(*bits);
    *map = std::move(found);
    shape.binary.push_back(key + " = { " + bits_text(*bits) + " }");
    return true;
  }

  bool channel(Shape& shape, const std::string& key,
               const std::function<std::string(const BinaryFrame&)>& of) {
    for (const std::uint8_t mask : {whole_byte, low_nibble, high_nibble}) {
      for (std::size_t at = 0; at < free_.size(); ++at) {
        const decode::BinaryBits bits{at, mask};
        const bool all = (free_[at] & mask) == mask && std::ranges::all_of(frames_, [&](const auto& frame) {
                           return of(frame) == std::to_string(bits.of(frame.body));
                         });
        if (!all) continue;
        take(bits);
        shape.binary.push_back(key + " = { " + bits_text(bits) + " }");
        return true;
      }
    }
    return false;
  }

  /// What is left must be the same in all frames.
  std::optional<Remark> rest(Shape& shape) {
    std::string literals;
    for (std::size_t at = 0; at < free_.size(); ++at) {
      if (const auto bits = changing(at); bits != 0)
        return Remark{"unexplained", "byte " + std::to_string(at + 1) + ", bits " + hex_byte(bits)};
      if (free_[at] == 0) continue;
      const auto runs = side_by_side(free_[at]);
      for (const std::uint8_t mask : runs) {
        const decode::BinaryBits bits{at, mask};
        const auto is = bits.of(frames_.front().body);
        if (is == 0) continue;  // what nothing names must be zero
        literals +=
            (literals.empty() ? "" : ", ") + ("{ " + bits_text(bits) + ", is = " + hex_byte(is) + " }");
      }
    }
    if (!literals.empty()) shape.binary.push_back("literal = [" + literals + "]");
    return std::nullopt;
  }

  static std::vector<std::uint8_t> side_by_side(std::uint8_t bits) {
    std::vector<std::uint8_t> out;
    while (bits != 0) {
      const auto low = static_cast<unsigned>(std::countr_zero(bits));
      const auto count = static_cast<unsigned>(std::countr_one(static_cast<std::uint8_t>(bits >> low)));
      const auto mask = static_cast<std::uint8_t>(((1U << count) - 1U) << low);
      out.push_back(mask);
      bits = static_cast<std::uint8_t>(bits & ~mask);
    }
    return out;
  }

  const std::vector<BinaryFrame>& frames_;
  const BinaryCandidate& candidate_;
  Mask free_;
};

}  // namespace

ShapeSearch find_binary_shapes(const std::vector<std::string>& bodies, const std::vector<Press>& presses) {
  ShapeSearch out;
  std::vector<BinaryFrame> frames;
  std::set<std::string> different;
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    if (!presses[i].shown || !presses[i].shown->has_number()) continue;
    if (!frames.empty() && bodies[i].size() != frames.front().body.size()) {
      out.missing.push_back({"shape_varies", ""});
      return out;
    }
    frames.push_back({bodies[i], &presses[i]});
    different.insert(presses[i].shown->number());
  }
  if (frames.empty() || frames.front().body.size() > 40) return out;
  if (different.size() < values_needed) {
    out.missing.push_back({"few_values", std::to_string(values_needed)});
    return out;
  }
  const auto candidates = binary_candidates(frames);
  std::set<std::string> why;
  for (const auto& candidate : candidates) {
    Shape shape;
    if (const auto missing = Layout(frames, candidate).build(shape)) {
      if (why.insert(missing->code).second) out.missing.push_back(*missing);
    } else {
      out.shapes.push_back(std::move(shape));
    }
  }
  if (candidates.empty()) out.missing.push_back({"number_not_found", hex_text(frames.front().body)});
  return out;
}

}  // namespace tallystick::learn
