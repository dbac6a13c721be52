// The commands of `tallystick`, one plain function each: options in, text out, an exit status back. They know
// nothing of the command line's own parsing (main.cpp), so tests and other programs can call them.
#pragma once

#include <iosfwd>
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
