// Cells and lines of CSV as RFC 4180 has them, with cells that a spreadsheet would run made harmless.
#pragma once

#include <string>
#include <string_view>

namespace tallystick::exporting {

/// Appends one cell: made harmless (see `harmless`), quoted where RFC 4180 asks for it. UTF-8 goes through
/// untouched.
void append_cell(std::string& out, std::string_view cell);

/// A *place* is the beginning of a cell, and every position directly behind `;`, tab, carriage return or line
/// feed (a reader set to another separator would begin a cell there). At a place an apostrophe goes in front
/// of
/// - an apostrophe, and
/// - whatever, after any quotes and blanks, begins with = + - @ (or their full-width forms), or is a tab or
/// carriage
///   return,
/// unless the whole cell is an exact decimal number such as -0.012. So `plain` gives back the very cell.
std::string harmless(std::string_view cell);

/// Undoes `harmless`: at every place one apostrophe goes away, if there is one.
std::string plain(std::string_view cell);

/// `-?digits[.digits]`, nothing else.
bool is_decimal(std::string_view cell);

}  // namespace tallystick::exporting
