// The commands of `tallystick`, one plain function each: options in, text out, an exit status back. They know
// nothing of the command line's own parsing (main.cpp), so tests and other programs can call them.
#pragma once

#include <iosfwd>
#include <optional>
#include <string>

#include "daemon/measure/error.hpp"

namespace tallystick::cli {

/// What every command answers with; printed by `tallystick --help`.
namespace status {
inline constexpr int good = 0;  ///< done; accept
inline constexpr int no = 1;    ///< understood, and the answer is no: reject, refused frames, a fault found
inline constexpr int not_understood = 2;  ///< what was asked or given cannot be understood
inline constexpr int not_done = 3;        ///< understood, but it could not be done: a file, a port, a disk
}  // namespace status

/// Where a command reads and writes. Results go to `out`, everything for a person's attention to `err`.
struct Streams {
  std::istream& in;
  std::ostream& out;
  std::ostream& err;
};

/// Says an error: a line on `err`, and with `json` also {"error":{"code","what","where","hint"}} on `out`.
/// Returns `status`, so that a command can end with it.
int say(const Error& error, bool json, Streams streams, int status = status::not_understood);

// compute.cpp: exact arithmetic of measured values, for people and for scripts.

struct ConvertOptions {
  std::string value, from, to;
  bool json = false;
};
/// "11.1125 mm", or {"value":"11.1125","unit":"mm"}. A value without a finite decimal there is an error.
int compute_convert(const ConvertOptions& options, Streams streams);

struct VerdictOptions {
  std::optional<std::string> lower, upper;
  std::string unit;  ///< of the limits
  std::string value;
  std::string value_unit;  ///< empty: as the limits
  bool json = false;
};
/// {"value","unit","verdict","side","by","by_unit"}: value and amount in the limits' unit where both have a
/// finite decimal there, else in the value's. `status::good` for accept, `status::no` for reject.
int compute_verdict(const VerdictOptions& options, Streams streams);

// decode.cpp: bytes of a gauge to readings and refusals, by a dialect, without a port.

struct DecodeOptions {
  std::string dialect;  ///< path of a *.dialect.toml
  std::string file;     ///< empty or "-": standard input
  bool hex = false;     ///< the input is hex text
  bool log = false;     ///< the input is a replay log, with its times
};
/// One JSON object a line (drivers/decode/replay_log.hpp, `json_line`). The start of the input counts as after a gap,
/// its end as a gap. `status::no` where anything was refused.
int decode(const DecodeOptions& options, Streams streams);

}  // namespace tallystick::cli
