// Recorded bytes of a port with their times: what a dialect's tests are made of. Pure: the caller opens the
// file.
//
//   dialect: push-line              header: "key: value" lines, then an empty line
//   port: 9600 8N1                  the settings it was recorded with; "tcp": a network connection
//   shown: 12.345 mm                what a person saw on the gauge's display
//   date: 2026-11-25
//   source: invented                or: recorded
//   note: pressed twice             optional
//
//   0 open                          body: microseconds that never go back, then
//   500000 rx 2b3031322e3334350d    rx (from the gauge) or tx (to it) with hex bytes (blanks allowed between
//   bytes), 900000 tx 3f0d                  or open (the port was opened then)
//
// Lines that begin with # are remarks. Without an `open` the first byte counts as after a gap; the end of the
// log is a gap.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/decoder.hpp"

namespace tallystick {

struct ReplayRecord {
  enum class Kind : std::uint8_t { received, sent, opened };
  std::int64_t at_us = 0;
  Kind kind = Kind::received;
  std::string bytes;
};

struct ReplayLog {
  std::string dialect, port, shown, date, source, note;
  std::vector<ReplayRecord> records;
};

/// Faults: "bad_replay_log" with file and line.
tl::expected<ReplayLog, Faults> read_replay_log(std::string_view text, std::string_view file);

/// The stamp that a decoder gets for a time of a log.
Stamp replay_stamp(std::int64_t at_us);

/// Feeds a log as it was recorded, with a gap at its end.
std::vector<DecodeEvent> replay(const ReplayLog& log, std::shared_ptr<const Dialect> dialect);

/// Lower-case hex of bytes, and back; empty where the text is no hex (blanks between bytes are allowed).
std::string hex_text(std::string_view bytes);
std::optional<std::string> bytes_of_hex(std::string_view text);

/// One event as a line of JSON, without its newline:
/// {"kind":"reading","value":"12.345","unit":"mm","channel":null,"status":"ok","offset":0,"bytes":"2b30..."}
/// {"kind":"refusal","reason":"bad_checksum","offset":0,"bytes":"2b30..."}
std::string json_line(const DecodeEvent& event);

}  // namespace tallystick
