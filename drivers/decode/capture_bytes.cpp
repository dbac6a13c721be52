#include "drivers/decode/capture_bytes.hpp"

#include <algorithm>
#include <numeric>

#include "daemon/measure/json_mirror.hpp"

namespace tallystick {

namespace {

constexpr std::string_view magic("tlycap\0", 7);
constexpr char version = 1;
/// Far above what a capture keeps; bounds what a reader will hold.
constexpr std::int64_t most_samples = 1 << 20;

std::string with_unit(Quantity value) { return value.text() + " " + std::string(value.unit().name()); }

Expected<Quantity> from_text_with_unit(const std::string& text) {
  const auto blank = text.find(' ');
  if (blank == std::string::npos)
    return fail("wrong_shape", "expected a decimal with its unit, found " + quoted(text), "head");
  const auto unit = Unit::named(std::string_view(text).substr(blank + 1));
  if (!unit) return tl::unexpected(unit.error());
  return Quantity::parse(std::string_view(text).substr(0, blank), *unit);
}

void put(std::string& out, std::int64_t number) {
  auto bits = (static_cast<std::uint64_t>(number) << 1U) ^ static_cast<std::uint64_t>(number >> 63);
  while (bits >= 0x80U) {
    out += static_cast<char>(static_cast<unsigned char>(bits | 0x80U));
    bits >>= 7U;
  }
  out += static_cast<char>(static_cast<unsigned char>(bits));
}

/// Takes one number from the front. False: the bytes end too soon, or it has more than 64 bits.
bool take(std::string_view& bytes, std::int64_t& number) {
  std::uint64_t bits = 0;
  for (unsigned shift = 0; shift < 64; shift += 7) {
    if (bytes.empty()) return false;
    const auto byte = static_cast<unsigned char>(bytes.front());
    bytes.remove_prefix(1);
    if (shift == 63 && byte > 1) return false;
    bits |= static_cast<std::uint64_t>(byte & 0x7FU) << shift;
    if (byte < 0x80U) {
      number = static_cast<std::int64_t>(bits >> 1U) ^ -static_cast<std::int64_t>(bits & 1U);
      return true;
    }
  }
  return false;
}

/// Differences wrap as two's complement does, so that no pair of counts is too far apart.
std::int64_t less(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}
std::int64_t plus(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
}

std::int64_t common_step(const std::vector<CaptureSample>& samples) {
  std::int64_t step = 0;
  for (const auto& sample : samples)
    if (sample.count != INT64_MIN)
      step = std::gcd(step, sample.count);
    else
      return 1;
  return step == 0 ? 1 : step;
}

Done read_samples(std::string_view bytes, CaptureKept& out) {
  const auto step = out.head.step;
  std::int64_t at_us = 0, steps = 0;
  out.samples.reserve(static_cast<std::size_t>(std::min<std::int64_t>(out.head.kept, 4096)));
  for (std::int64_t n = 0; n < out.head.kept; ++n) {
    std::int64_t later = 0, more = 0;
    if (!take(bytes, later) || !take(bytes, more))
      return fail(
          "cut_short",
          "sample " + std::to_string(n + 1) + " of " + std::to_string(out.head.kept) + " is not whole",
          "samples");
    at_us = plus(at_us, later);
    steps = plus(steps, more);
    CaptureSample sample{at_us, 0};
    if (__builtin_mul_overflow(steps, step, &sample.count))
      return fail("wrong_shape", "sample " + std::to_string(n + 1) + " is larger than can be held",
                  "samples");
    if (!out.samples.empty() && sample.at_us < out.samples.back().at_us)
      return fail("wrong_shape", "sample " + std::to_string(n + 1) + " lies before the one before it",
                  "samples");
    out.samples.push_back(sample);
  }
  if (!bytes.empty())
    return fail("wrong_count", std::to_string(bytes.size()) + " bytes follow the last sample", "samples");
  return {};
}

}  // namespace

CaptureKept kept_of(const std::string& gauge, const Capture& capture, const CaptureEnd& end) {
  const auto& rule = capture.rule();
  const auto text = [](const std::optional<Quantity>& value) {
    return value ? value->text() : std::string();
  };
  CaptureKept out;
  auto& head = out.head;
  head.gauge = gauge;
  head.kind = boost::describe::enum_to_string(rule.kind, "");
  head.value_of = boost::describe::enum_to_string(rule.value, "");
  head.unit = end.unit.name();
  head.begun_utc = utc_text(capture.begun().utc_us);
  head.clock = capture.begun().clock;
  head.ended_by = end.ended_by;
  head.broken = end.broken;
  head.detail = end.detail;
  head.value = text(end.value);
  head.value_unit = end.value ? std::string(end.value->unit().name()) : std::string();
  head.least = text(end.least);
  head.greatest = text(end.greatest);
  head.samples = end.samples;
  head.kept = static_cast<std::int64_t>(end.kept.size());
  head.refused = end.refused;
  head.longest_gap_us = end.longest_gap_us;
  head.first_us = end.first_us;
  head.last_us = end.last_us;
  head.moved_us = end.moved_us;
  if (rule.movement) head.movement = with_unit(*rule.movement);
  if (rule.kind == CaptureKind::settled) head.window = with_unit(rule.window);
  head.settle_us = rule.kind == CaptureKind::settled ? rule.settle_us : 0;
  head.end_after_us = rule.end_after_us;
  head.step = common_step(end.kept);
  out.samples = end.kept;
  return out;
}

std::string to_bytes(const CaptureKept& capture) {
  const auto head = mirror::text(capture.head);
  std::string out(magic);
  out += version;
  for (int shift = 24; shift >= 0; shift -= 8)
    out += static_cast<char>(static_cast<unsigned char>(head.size() >> static_cast<unsigned>(shift)));
  out += head;
  CaptureSample before;
  for (const auto& sample : capture.samples) {
    put(out, less(sample.at_us, before.at_us));
    put(out, less(sample.count / capture.head.step, before.count / capture.head.step));
    before = sample;
  }
  return out;
}

Expected<CaptureKept> capture_from(std::string_view bytes) {
  if (bytes.size() < magic.size() + 5 || !bytes.starts_with(magic))
    return fail("not_a_capture", "these bytes are no capture's", "bytes 1 to 7");
  if (bytes[magic.size()] != version)
    return fail("newer_format",
                "version " + std::to_string(static_cast<unsigned char>(bytes[magic.size()])) +
                    " of a capture's bytes, known is 1",
                "byte 8", "read it with the release that wrote it");
  bytes.remove_prefix(magic.size() + 1);
  std::size_t size = 0;
  for (std::size_t n = 0; n < 4; ++n) size = size * 256 + static_cast<unsigned char>(bytes[n]);
  bytes.remove_prefix(4);
  if (bytes.size() < size) return fail("cut_short", "the head is not whole", "head");
  auto head = mirror::parse<CaptureHead>(bytes.substr(0, size));
  if (!head) return tl::unexpected(head.error());
  CaptureKept out{std::move(*head), {}};
  if (out.head.kept < 0 || out.head.kept > most_samples || out.head.step < 1)
    return fail("wrong_shape",
                "the head says " + std::to_string(out.head.kept) + " samples in steps of " +
                    std::to_string(out.head.step),
                "head");
  if (auto done = read_samples(bytes.substr(size), out); !done) return tl::unexpected(done.error());
  return out;
}

Expected<Quantity> worked_out_again(const CaptureKept& capture) {
  const auto& head = capture.head;
  if (!head.broken.empty()) return fail("capture_broken", "the capture was not judged: " + head.broken, "head");
  const auto unit = Unit::named(head.unit);
  if (!unit) return tl::unexpected(unit.error());
  CaptureValue value{};
  CaptureKind kind{};
  if (!boost::describe::enum_from_string(head.value_of.c_str(), value) ||
      !boost::describe::enum_from_string(head.kind.c_str(), kind))
    return fail(
        "wrong_shape",
        "no capture of kind " + quoted(head.kind) + " and value " + quoted(head.value_of) + " is known",
        "head");
  const auto out = captured_value(value, capture.samples, *unit);
  if (!out || kind != CaptureKind::settled) return out;
  const auto window = from_text_with_unit(head.window);
  if (!window) return tl::unexpected(window.error());
  const auto span = captured_value(CaptureValue::span, capture.samples, *unit);
  if (!span) return span;
  if (!convertible(span->unit(), window->unit()) || *span > *window ||
      capture.samples.back().at_us - capture.samples.front().at_us < head.settle_us)
    return fail("not_settled", "its samples span " + span->text() + " " + std::string(span->unit().name()),
                "samples");
  return out;
}

}  // namespace tallystick
