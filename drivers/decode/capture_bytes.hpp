// The bytes of a capture, as the record keeps them once: what it was, its samples, exactly, and how to read
// and work them out again. Pure.
//
// The bytes, version 1:
// - 8 bytes: "tlycap", a zero byte, the version (1)
// - 4 bytes, big-endian: length of the head
// - the head: one JSON object, the members of CaptureHead; those that equal their default are left out
// - for each sample two whole numbers: microseconds since the sample before (the first: since the begin), and
// the
//   difference of its count to that of the sample before (the first: to 0) divided by `step`. Each as LEB128
//   (DWARF 5, section 7.6) of its zigzag form (0, -1, 1, -2, ... as 0, 1, 2, 3, ...)
// Nothing follows the last sample.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/capture.hpp"

namespace tallystick {

struct CaptureHead {
  std::string gauge;
  std::string kind, value_of;            ///< "span", ... : names of CaptureKind and CaptureValue
  std::string unit;                      ///< of the samples
  std::string begun_utc;                 ///< of the action that began it, "2026-11-25T08:40:05.123456Z"
  std::string clock;                     ///< "trusted" or "untrusted": what the daemon thought of UTC then
  std::string ended_by, broken, detail;  ///< as in CaptureEnd
  std::string value, value_unit;         ///< exact decimal; empty where it broke
  std::string least, greatest;           ///< of every sample, in `unit`
  std::int64_t samples = 0, kept = 0;    ///< taken; and how many of them follow
  std::int64_t refused = 0, longest_gap_us = 0;
  std::int64_t first_us = 0, last_us = 0, moved_us = -1;
  std::string movement, window;  ///< of the rule, exact decimals with their units ("0.002 mm"); empty: none
  std::int64_t settle_us = 0, end_after_us = 0;
  std::int64_t step = 1;  ///< counts: what every kept count is a multiple of
  bool operator==(const CaptureHead&) const = default;
};
BOOST_DESCRIBE_STRUCT(CaptureHead, (),
                      (gauge, kind, value_of, unit, begun_utc, clock, ended_by, broken, detail, value,
                       value_unit, least, greatest, samples, kept, refused, longest_gap_us, first_us, last_us,
                       moved_us, movement, window, settle_us, end_after_us, step))

struct CaptureKept {
  CaptureHead head;
  std::vector<CaptureSample> samples;
  bool operator==(const CaptureKept&) const = default;
};

inline constexpr const char* capture_media_type = "application/vnd.tallystick.capture";

/// What is to be kept of a capture that came out so.
CaptureKept kept_of(const std::string& gauge, const Capture& capture, const CaptureEnd& end);
std::string to_bytes(const CaptureKept& capture);
/// Errors: "not_a_capture", "newer_format", "cut_short", "wrong_shape", "wrong_count" (what the head says and
/// what follows differ). Reads any bytes.
Expected<CaptureKept> capture_from(std::string_view bytes);
/// The value that the kept samples come to. Errors: those of captured_value, "wrong_shape", "unknown_unit",
/// "broken" (it was not judged), "not_settled" (the samples of a settled one do not lie in its window for its
/// time).
Expected<Quantity> worked_out_again(const CaptureKept& capture);

}  // namespace tallystick
