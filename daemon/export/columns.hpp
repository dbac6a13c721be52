// The columns of every export: the fact's key, then every member of Fact in its order. EXPORT.md describes
// each.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

#include "daemon/record/reader.hpp"

namespace tallystick::exporting {

/// How a column is written in JSON; in CSV all are plain text, flags as 0 and 1.
enum class ColumnKind : std::uint8_t { text, number, flag };

inline constexpr std::size_t key_columns = 3;  ///< journal, seq, n

/// Kinds of Fact's members, in its order.
const std::array<ColumnKind, record::fact_columns>& fact_column_kinds();

/// The header line, with its CRLF.
const std::string& csv_header();
/// Appends one line with its CRLF: RFC 4180, cells made harmless.
void append_csv(std::string& out, const record::RawFact& fact);
/// Appends one JSON object with its LF; members in the order of the columns.
void append_json_line(std::string& out, const record::RawFact& fact);

}  // namespace tallystick::exporting
