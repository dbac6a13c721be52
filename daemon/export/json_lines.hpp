// Strings as JSON (RFC 8259) wants them, appended without building a value first.
#pragma once

#include <string>
#include <string_view>

namespace tallystick::exporting {

/// Appends `text` in quotes. Bytes that are not UTF-8 become U+FFFD, so that a line is JSON whatever is in
/// the record.
void append_json_string(std::string& out, std::string_view text);

}  // namespace tallystick::exporting
