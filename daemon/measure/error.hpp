// How failures travel: as values, from the place that finds them to the person who can mend them.
#pragma once

#include <string>
#include <string_view>
#include <tl/expected.hpp>
#include <utility>

namespace tallystick {

/// One fault, in words for the person who can mend it.
/// `code` is stable and for programs (snake_case); the other three are English sentences or fragments.
struct Error {
  std::string code;   ///< e.g. "unknown_unit"
  std::string what;   ///< what was found, and what was expected
  std::string where;  ///< file:line, field, port, ...; may be empty
  std::string hint;   ///< what to do about it; may be empty

  bool operator==(const Error&) const = default;
};

template <class T>
using Expected = tl::expected<T, Error>;
using Done = Expected<void>;

inline tl::unexpected<Error> fail(std::string code, std::string what, std::string where = {}, std::string hint = {}) {
  return tl::unexpected<Error>(Error{std::move(code), std::move(what), std::move(where), std::move(hint)});
}

/// What was found, safe in any message: in quotes, bytes outside printable ASCII as \\xNN, shortened when long.
std::string quoted(std::string_view found);

/// "where: what (hint)", for logs and terminals.
inline std::string text(const Error& error) {
  std::string out = error.where.empty() ? error.what : error.where + ": " + error.what;
  if (!error.hint.empty()) out += " (" + error.hint + ")";
  return out;
}

}  // namespace tallystick
