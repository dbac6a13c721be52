#include "daemon/serve/record_routes.hpp"

#include <boost/json.hpp>

#include "daemon/export/routes.hpp"
#include "daemon/serve/problem.hpp"

namespace tallystick::serve {
namespace {

Answer refused(const exporting::Refusal& refusal, const Request& request) {
  auto answer = problem(refusal.error, request.target);
  if (!refusal.branch_point) return answer;
  auto body = boost::json::parse(answer.body).as_object();
  const auto cursor = text(refusal.branch_point->go_on);
  body["branch_point"] = text(refusal.branch_point->point);
  body["cursor"] = cursor;
  answer.body = boost::json::serialize(body);
  answer.headers.emplace_back("Tallystick-Cursor", cursor);
  return answer;
}

}  // namespace

std::vector<Route> record_routes(record::Place place) {
  std::vector<Route> out;
  for (auto& route : exporting::routes(std::move(place))) {
    out.push_back(
        {route.path, [handler = std::move(route.handler)](const Request& request) -> Expected<Answer> {
           auto found = handler(request.query);
           if (!found) return refused(found.error(), request);
           Answer answer;
           answer.media_type = std::move(found->media_type);
           answer.headers = std::move(found->headers);
           answer.body = std::move(found->body);
           answer.pull = std::move(found->pull);
           return answer;
         }});
  }
  return out;
}

}  // namespace tallystick::serve
