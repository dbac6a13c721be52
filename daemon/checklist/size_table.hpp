// A family's size table: CSV by RFC 4180, one row a size at a print revision.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/checklist/fault.hpp"
#include "daemon/measure/error.hpp"

namespace tallystick::checklist {

/// One record of a CSV text. Lines end in LF or CRLF; a field in quotes may hold commas, quotes (doubled) and
/// breaks.
struct CsvRow {
  int line = 0;                     ///< where it begins, from 1
  std::vector<std::string> fields;  ///< as written, quotes taken off, blanks kept
};

/// Strict: a quote inside a bare field, text after a closing quote, a quote never closed and a NUL byte are
/// errors
/// ("csv", `where` = the line). A UTF-8 byte order mark at the start is skipped. An empty text has no rows;
/// an empty line is a row of one empty field.
Expected<std::vector<CsvRow>> read_csv(std::string_view text);
/// One record, ended by `line_end`, with quotes only where they are needed.
std::string csv_line(const std::vector<std::string>& fields, std::string_view line_end = "\n");

/// One size at one print revision.
struct SizeRow {
  int line = 0;
  std::string size, print_revision, part_number;
  std::vector<std::string> cells;  ///< parallel to SizeTable::columns
};

struct SizeTable {
  std::vector<std::string> columns;  ///< as in the header, the key columns too
  std::vector<SizeRow> rows;         ///< rows with a fault of their own are left out

  /// The cell's text, or null where there is no such column.
  const std::string* cell(const SizeRow& row, std::string_view column) const;
};

/// Key columns: size ([A-Za-z0-9-]{1,40}), print_revision, part_number. Column names are [a-z][a-z0-9_]*.
/// Faults are added to `faults` with `file` as their file: missing key column, doubled or malformed column,
/// row of another width, doubled size at one print revision, sizes that differ in case only, blanks round a
/// cell.
SizeTable read_size_table(std::string_view csv, const std::string& file, std::vector<Fault>& faults);

}  // namespace tallystick::checklist
