// From a recording to a dialect: which known dialects read it, what a new one would look like, and what is
// missing. Nothing is proposed that does not read every press of the recording as its display showed it.
// Pure.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "drivers/decode/dialect.hpp"
#include "drivers/learn/heard.hpp"
#include "drivers/learn/shape.hpp"

namespace tallystick::learn {

/// A known dialect (none of a register map) that reads every press without a refusal, and as shown where that is known.
struct KnownDialect {
  std::string name, about;
  PortSettings heard_with;        ///< the line settings at which it reads the bytes
  bool other_settings = false;    ///< its own [port] says others: then it must be copied and changed
  std::vector<std::string> read;  ///< one a press: "12.345 mm"
  Speaks speaks = Speaks::pushed;
};

struct Proposal {
  std::string toml;  ///< a whole *.dialect.toml, with comments
  PortSettings line;
  std::vector<Press> presses;  ///< those that it was learned from, as heard with `line`
  std::vector<std::string> read;
  std::vector<Remark> unseen;  ///< what was assumed
  bool binary = false, checked = false;
  Speaks speaks = Speaks::pushed;
};

struct Findings {
  std::vector<KnownDialect> known;
  std::vector<Proposal> proposals;  ///< the likeliest first
  std::vector<Remark> missing;      ///< why there is no proposal; else empty
};

struct Naming {
  std::string name = "learned-gauge";  ///< of the new dialect: [a-z0-9-]{1,40}
  std::string date;                    ///< "2026-11-25", for its first line; may be empty
};

Findings learn(const Recording& recording, const std::vector<std::shared_ptr<const Dialect>>& known,
               const Naming& naming);

/// The line settings to try next while nothing is understood, the likeliest first, less those that were
/// tried.
std::vector<PortSettings> settings_to_try(const Recording& recording);

/// Bytes of a press as a person can read them: printable ones as they are, others as <0D>.
std::string readable(std::string_view bytes);

}  // namespace tallystick::learn
