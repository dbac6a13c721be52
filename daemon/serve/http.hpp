// A request and an answer as the rooms see them: none of the HTTP library's types, so that only two files pay
// for it.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::serve {

/// One request, whole and within the limits. Texts are as sent, the path's segments and the query decoded.
struct Request {
  std::string method;                           ///< "GET", "HEAD", "POST", "PUT"
  std::string target;                           ///< as sent, for the problem's "instance"
  std::vector<std::string> segments;            ///< "/a/b" -> {"a", "b"}
  std::map<std::string, std::string> query;     ///< the first of a doubled name counts
  std::map<std::string, std::string> captured;  ///< of a route's "{name}" segments
  std::string host, origin, content_type, if_none_match, if_match, idempotency_key, fetch_site, fetch_mode, accept_encoding;
  std::string body;
  bool local_socket = false;  ///< came over the Unix socket
};

/// Gives the next piece of a long answer, nothing at its end. Called on the pool, never twice at once;
/// throwing cuts the connection, so that the reader sees that the answer is not whole.
using Pull = std::function<std::optional<std::string>()>;

/// What goes back. With `pull` the body follows piece by piece (`body` is then ignored).
struct Answer {
  unsigned status = 200;
  std::string media_type = "application/json";
  std::vector<std::pair<std::string, std::string>> headers;
  std::string body;
  Pull pull;
};

/// Sends an answer; called once, on the I/O thread.
using Reply = std::function<void(Answer)>;

/// A route of another room: "/api/v1/results", or with "{name}" segments. A GET route also answers HEAD; a
/// POST route takes JSON only, a PUT route CSV only.
struct Route {
  std::string path;
  std::function<Expected<Answer>(const Request&)> handler;
  std::string method = "GET";  ///< "GET" | "POST" | "PUT"
  bool on_io = false;  ///< false: run on the pool, may read files. true: on the I/O thread, must not block
};

/// A route of the house itself that does something: POST with a JSON body, on the I/O thread. It replies once, at once or
/// later. Origin and Host were checked before.
struct Action {
  std::string path;
  std::function<void(Request, Reply)> handler;
};

/// Splits "/a/b?x=1". Error "bad_target": not a path, a bad escape, or a segment ".." or ".".
Expected<Request> request_from_target(std::string_view target);

/// True where `pattern` ("/a/{id}") fits the segments; puts what the names stand for into `captured`.
bool matches(std::string_view pattern, const std::vector<std::string>& segments,
             std::map<std::string, std::string>& captured);

}  // namespace tallystick::serve
