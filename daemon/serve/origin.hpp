// Who may speak to the daemon: a web page elsewhere must not drive the bench (and a name that was rebound to
// the loopback address must not read it).
#pragma once

#include <cstdint>
#include <optional>

#include "daemon/serve/http.hpp"

namespace tallystick::serve {

/// Nothing where the request may go on, else the problem. `port` is the one that the daemon listens on.
/// - Host must be 127.0.0.1, localhost or [::1] with that port (over the Unix socket: localhost, any port or
/// none).
/// - Origin, where one is sent, must be http:// and one of those. Sec-Fetch-Site, where one is sent, must be
/// same-origin
///   or none, but for a person who follows a link to a page.
std::optional<Answer> refuse_foreign(const Request& request, std::uint16_t port);

}  // namespace tallystick::serve
