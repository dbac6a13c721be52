#include "daemon/serve/notice_routes.hpp"

#include "daemon/serve/routes.hpp"

namespace tallystick::serve {

std::vector<Route> notice_routes(NoticeSeams seams) {
  const auto clear = [seams](const Request& request) -> Expected<Answer> {
    const auto body = object_from(request.body);
    if (!body) return tl::unexpected(body.error());
    const auto* person = body->if_contains("person");
    if (!person || !person->is_string()) return fail("wrong_shape", "expected a name", "person");
    auto cleared = seams.clear(request.captured.at("notice"), std::string(person->as_string()));
    if (!cleared) return tl::unexpected(cleared.error());
    return json_answer(*cleared);
  };
  return {{"/api/v1/notices",
           [seams](const Request&) -> Expected<Answer> { return json_answer(seams.all()); }, "GET", true},
          {"/api/v1/notices/{notice}/clear", clear, "POST", true}};
}

}  // namespace tallystick::serve
