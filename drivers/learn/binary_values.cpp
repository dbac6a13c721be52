#include "drivers/learn/binary_values.hpp"

#include <algorithm>
#include <iterator>

#include "drivers/learn/number_search.hpp"

namespace tallystick::learn {

namespace {

using decode::BinaryBody;
using decode::BinaryForm;
using decode::BinaryValue;
using decode::Field;
using decode::Fields;

/// What the value's bytes say: digits without a mark, and whether they carry a minus. Empty: they are no
/// number.
std::optional<std::pair<std::string, bool>> digits_of(const std::string& body, const BinaryValue& value) {
  decode::BinaryLayout layout;
  layout.width = body.size();
  layout.value = value;
  for (std::size_t i = 0; i < body.size(); ++i) layout.ignored.push_back({i, 0xFF});
  Fields fields;
  BinaryBody::Scratch scratch;
  if (BinaryBody(std::move(layout)).read(body, fields, scratch)) return std::nullopt;
  const std::string digits(fields[Field::value]);
  if (digits.empty() || digits.find('?') != std::string::npos) return std::nullopt;
  return std::pair{digits, fields[Field::sign] == "-"};
}

std::vector<BinaryValue> values_in(std::size_t width) {
  std::vector<BinaryValue> out;
  const auto add = [&](std::size_t at, std::size_t bytes, BinaryForm form, bool low_bytes, bool low_nibbles,
                       std::size_t skip, std::size_t digits, std::uint8_t zone = 0) {
    BinaryValue value;
    value.at = at, value.width = bytes, value.form = form;
    value.low_byte_first = low_bytes, value.low_nibble_first = low_nibbles;
    value.skip = skip, value.digits = digits, value.zone = zone;
    if (form == BinaryForm::unpacked && zone == 0) value.blank = std::uint8_t{0x0F};
    out.push_back(value);
  };
  for (std::size_t at = 0; at < width; ++at) {
    for (const bool low_bytes : {false, true}) {
      for (std::size_t bytes = 2; bytes <= 5 && at + bytes <= width; ++bytes) {
        for (const bool low_nibbles : {false, true}) {
          for (const std::size_t skip : {0U, 1U}) {
            add(at, bytes, BinaryForm::packed, low_bytes, low_nibbles, skip, 0);
            add(at, bytes, BinaryForm::packed, low_bytes, low_nibbles, skip, 2 * bytes - skip - 1);
          }
        }
      }
      for (std::size_t bytes = 4; bytes <= 8 && at + bytes <= width; ++bytes) {
        add(at, bytes, BinaryForm::unpacked, low_bytes, false, 0, 0);
        add(at, bytes, BinaryForm::unpacked, low_bytes, false, 0, 0, 3);
      }
      for (std::size_t bytes = 2; bytes <= 4 && at + bytes <= width; ++bytes) {
        for (const auto form : {BinaryForm::twos_complement, BinaryForm::sign_magnitude, BinaryForm::whole})
          add(at, bytes, form, low_bytes, false, 0, 0);
      }
    }
  }
  return out;
}

/// Decimals that make the digits the shown number.
std::set<int> decimals_for(const std::string& digits, const Shown& shown) {
  std::set<int> out;
  const std::string wanted = plain_digits(shown.digits);
  const auto point = shown.digits.find('.');
  const int display = point == std::string::npos ? 0 : static_cast<int>(shown.digits.size() - point - 1);
  for (int decimals = 0; decimals <= 9; ++decimals) {
    if (moved(digits, -decimals) == wanted && (decimals >= display || shown.zero())) out.insert(decimals);
  }
  return out;
}

std::optional<BinaryCandidate> candidate_for(const BinaryValue& value,
                                             const std::vector<BinaryFrame>& frames) {
  BinaryCandidate out{value, {}, {}};
  for (const auto& frame : frames) {
    const auto digits = digits_of(frame.body, value);
    if (!digits) return std::nullopt;
    if (out.own_sign() && digits->second != frame.negative()) return std::nullopt;
    auto fit = decimals_for(digits->first, *frame.press->shown);
    if (fit.empty()) return std::nullopt;
    out.each.push_back(fit);
    const auto [at, first] = out.decimals.emplace(frame.unit(), fit);
    if (first) continue;
    std::set<int> both;
    std::ranges::set_intersection(at->second, fit, std::inserter(both, both.end()));
    at->second = both;
  }
  return out;
}

/// What a narrower or wider reading of the same bytes would cost.
std::size_t rank_of(const BinaryCandidate& candidate) {
  const auto& value = candidate.value;
  const std::size_t nibbles = 2 * value.width - value.skip;
  const std::size_t bytes = value.digits > 0 && value.form == BinaryForm::packed ? value.digits : nibbles;
  // Two's complement: the widest, for the bytes in front repeat the sign. All others: the narrowest, so that
  // a byte that was always zero is not taken for digits; a larger value is then refused instead of guessed
  // at.
  return value.form == BinaryForm::twos_complement ? 100 - value.width : bytes;
}

}  // namespace

std::vector<BinaryCandidate> binary_candidates(const std::vector<BinaryFrame>& frames) {
  std::vector<BinaryCandidate> out;
  for (const auto& value : values_in(frames.front().body.size())) {
    if (auto candidate = candidate_for(value, frames)) out.push_back(std::move(*candidate));
  }
  std::ranges::stable_sort(out, {}, rank_of);
  return out;
}

}  // namespace tallystick::learn
