// The WebSocket of a bench: a snapshot, then changes, and signs of life. Internal to this room; includes the
// HTTP library through stream.hpp.
#pragma once

#include <boost/asio/awaitable.hpp>
#include <memory>

#include "daemon/serve/inside.hpp"
#include "daemon/serve/stream.hpp"

namespace tallystick::serve {

/// GET /api/v1/benches/{id}/live
bool is_live_request(const Request& request);
bool request_is_upgrade(const HttpRequest& request);

/// Accepts the WebSocket and serves it until it ends. `stream` must live until then.
boost::asio::awaitable<void> run_live(std::shared_ptr<Inside> inside, Stream& stream, HttpRequest handshake,
                                      const Request& request);

}  // namespace tallystick::serve
