#include <boost/url/parse.hpp>
#include <boost/url/url_view.hpp>

#include "daemon/serve/http.hpp"

namespace tallystick::serve {

Expected<Request> request_from_target(std::string_view target) {
  const auto refused = [&](const char* what) {
    return fail("bad_target", what, std::string(target.substr(0, 200)),
                "ask for a path, as in /api/v1/benches");
  };
  const auto parsed = boost::urls::parse_origin_form({target.data(), target.size()});
  if (!parsed) return refused("the request's target is not a plain path with an optional query");
  Request request;
  request.target = std::string(target);
  for (const auto segment : parsed->segments()) {
    if (segment == ".." || segment == "." || segment.find('\0') != std::string::npos)
      return refused("the path holds a segment that leads elsewhere");
    request.segments.emplace_back(segment);
  }
  if (request.segments.size() == 1 && request.segments.front().empty()) request.segments.clear();
  for (const auto parameter : parsed->params())
    request.query.emplace(std::string(parameter.key), std::string(parameter.value));
  return request;
}

bool matches(std::string_view pattern, const std::vector<std::string>& segments,
             std::map<std::string, std::string>& captured) {
  std::map<std::string, std::string> found;
  for (const auto& segment : segments) {
    if (pattern.empty() || pattern.front() != '/') return false;
    pattern.remove_prefix(1);
    const auto part = pattern.substr(0, pattern.find('/'));
    pattern.remove_prefix(part.size());
    if (part.size() > 2 && part.front() == '{' && part.back() == '}') {
      if (segment.empty()) return false;
      found[std::string(part.substr(1, part.size() - 2))] = segment;
    } else if (part != segment) {
      return false;
    }
  }
  if (!pattern.empty() && !(pattern == "/" && segments.empty())) return false;
  captured.merge(found);
  return true;
}

}  // namespace tallystick::serve
