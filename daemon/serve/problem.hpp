// Errors on the wire: RFC 9457 problem details, and the page that each problem's type leads to.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/serve/http.hpp"

namespace tallystick::serve {

/// The problem of an error: its status and title come from the table of problems by the error's code; a code
/// that the table does not know is answered with 422. Members besides RFC 9457's: "code", "where", "remedy".
Answer problem(const Error& error, std::string_view instance = {});
Answer problem(std::string code, std::string detail, std::string_view instance = {}, std::string remedy = {});

/// What stands at /problems/<code>: an HTML page; nothing where the table has no such problem.
std::optional<Answer> problem_page(std::string_view code);

/// The codes of the table.
std::vector<std::string_view> problem_codes();

/// `text` made harmless between HTML tags.
std::string html_text(std::string_view text);

}  // namespace tallystick::serve
