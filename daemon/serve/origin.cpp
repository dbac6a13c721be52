#include "daemon/serve/origin.hpp"

#include <algorithm>
#include <array>

#include "daemon/serve/problem.hpp"

namespace tallystick::serve {
namespace {

constexpr std::array<std::string_view, 3> own_names{"127.0.0.1", "localhost", "[::1]"};

bool own_authority(std::string authority, std::uint16_t port) {
  // Host names know no case (RFC 9110, 4.2.3).
  std::transform(authority.begin(), authority.end(), authority.begin(), [](char letter) {
    return letter >= 'A' && letter <= 'Z' ? static_cast<char>(letter + 32) : letter;
  });
  return std::any_of(own_names.begin(), own_names.end(), [&](std::string_view name) {
    return authority == std::string(name) + ":" + std::to_string(port) || (port == 80 && authority == name);
  });
}

}  // namespace

std::optional<Answer> refuse_foreign(const Request& request, std::uint16_t port) {
  if (request.local_socket) {
    if (request.host.substr(0, request.host.find(':')) != "localhost")
      return problem("wrong_host", "over the Unix socket the Host header is \"localhost\"", request.target);
    if (!request.origin.empty())
      return problem("foreign_origin", "no web page speaks over the Unix socket, yet an Origin was sent",
                     request.target);
    return std::nullopt;
  }
  if (!own_authority(request.host, port)) {
    return problem("wrong_host", "the Host header is \"" + request.host.substr(0, 80) + "\"", request.target,
                   "use http://127.0.0.1:" + std::to_string(port));
  }
  if (!request.origin.empty() &&
      (request.origin.rfind("http://", 0) != 0 || !own_authority(request.origin.substr(7), port)))
    return problem("foreign_origin", "the Origin is \"" + request.origin.substr(0, 80) + "\"",
                   request.target);
  const bool follows_link = request.method == "GET" && request.fetch_mode == "navigate" &&
                            (request.segments.empty() || request.segments.front() != "api");
  if (!request.fetch_site.empty() && request.fetch_site != "same-origin" && request.fetch_site != "none" &&
      !follows_link) {
    return problem(
        "foreign_origin",
        "the browser says that another site asked (Sec-Fetch-Site: " + request.fetch_site.substr(0, 20) + ")",
        request.target);
  }
  return std::nullopt;
}

}  // namespace tallystick::serve
