// What is asked for: which facts, from where to where, in which form. One grammar for HTTP queries and for
// the CLI.
#pragma once

#include <map>
#include <string>
#include <string_view>

#include "daemon/record/reader.hpp"

namespace tallystick::exporting {

enum class Form : std::uint8_t { csv, json_lines };

struct Selection {
  record::FactFilter filter;
  record::View view = record::View::all;
  record::Cursor after;  ///< facts behind this position
  std::string until;     ///< cursor text: facts up to it; empty: up to what stands there at the beginning
};

/// Reads the parameters that EXPORT.md lists: lot, part, serial, walk, feature, kind, gauge, verdict, from, to, after,
/// until, as_of_now, suspect. `lot` and `part` are keys or, where they do not look like one, the lot's name and the
/// part's serial. Errors: "unknown_parameter" (says which there are), "wrong_parameter", "not_a_cursor".
Expected<Selection> selection_from(const std::map<std::string, std::string>& parameters);

/// An instant as a person writes it, in the form of `utc_text`: 2026-11-25 (midnight UTC), or with a time
/// T07:31[:05[.123456]] and Z or an offset such as +01:00. Error "wrong_parameter".
Expected<std::string> instant_from(std::string_view text);

}  // namespace tallystick::exporting
