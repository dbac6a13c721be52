#include "daemon/serve/routes.hpp"

#include <algorithm>
#include <array>
#include <exception>

#include "daemon/checklist/edition.hpp"
#include "daemon/serve/problem.hpp"

namespace tallystick::serve {
namespace {

namespace json = boost::json;

/// GET paths below /api/v1 that show a list of the desk, and the subject that the desk knows it by.
constexpr std::array<std::pair<std::string_view, std::string_view>, 7> lists{{{"gauges", "gauges"},
                                                                              {"lots", "lots"},
                                                                              {"walks", "walks"},
                                                                              {"checklists", "editions"},
                                                                              {"editions", "editions"},
                                                                              {"suspects", "suspects"},
                                                                              {"words", "words"}}};

/// Pages that are read sitting down, each at its own name.
constexpr std::array<std::string_view, 4> sitting{"gauges", "records", "checklists", "faults"};

std::string media_type_of(std::string_view name) {
  constexpr std::array<std::pair<std::string_view, std::string_view>, 5> types{
      {{".html", "text/html; charset=utf-8"},
       {".css", "text/css; charset=utf-8"},
       {".js", "text/javascript; charset=utf-8"},
       {".json", "application/json"},
       {".svg", "image/svg+xml"}}};
  for (const auto& [ending, type] : types)
    if (name.size() > ending.size() && name.substr(name.size() - ending.size()) == ending)
      return std::string(type);
  return "application/octet-stream";
}

Answer only(const Request& request, std::string allowed) {
  auto answer = problem("method_not_allowed", request.method + " is not for this path", request.target,
                        "use " + allowed);
  answer.headers.emplace_back("Allow", std::move(allowed));
  return answer;
}

bool reads(const Request& request) { return request.method == "GET" || request.method == "HEAD"; }

}  // namespace

Answer json_answer(const json::value& value) {
  Answer answer;
  answer.body = json::serialize(value);
  answer.headers.emplace_back("Cache-Control", "no-store");
  return answer;
}

Expected<json::object> object_from(const std::string& body) {
  boost::system::error_code code;
  json::parse_options options;
  options.max_depth = 16;
  auto value = json::parse(body, code, {}, options);
  if (code) return fail("not_json", "the body is not JSON: " + code.message());
  if (!value.is_object()) return fail("wrong_shape", "the body is not one JSON object", "body");
  return std::move(value.as_object());
}

Routes::Routes(walk::DeskDoor& desk, const Surroundings& surroundings, Runner on_pool, Runner on_io)
    : desk_(desk),
      surroundings_(surroundings),
      on_pool_(std::move(on_pool)),
      on_io_(std::move(on_io)),
      routes_(surroundings.routes) {
  for (const auto& file : surroundings.files)
    pages_[std::string(file.name)] = {file.bytes, '"' + checklist::sha256_hex(file.bytes).substr(0, 32) + '"',
                                      media_type_of(file.name)};
  if (surroundings.drawing) {
    routes_.push_back({"/api/v1/drawings/{sha}", [&surroundings](const Request& request) {
                         return surroundings.drawing(request.captured.at("sha"));
                       }});
  }
}

void Routes::answer(Request request, Reply reply) {
  const auto& path = request.segments;
  if (!reads(request) && request.method != "POST") {
    reply(only(request, "GET, HEAD"));
    return;
  }
  const bool commands = path.size() >= 3 && path[0] == "api" && path[1] == "v1" &&
                        path.back() == "commands" &&
                        (path.size() == 3 || (path.size() == 5 && path[2] == "benches"));
  if (commands) {
    if (request.method != "POST") return reply(only(request, "POST"));
    return command(std::move(request), std::move(reply));
  }
  for (const auto& action : surroundings_.actions) {
    if (request.method != "POST" || !matches(action.path, path, request.captured)) continue;
    if (request.content_type.substr(0, request.content_type.find(';')) != "application/json")
      return reply(problem("not_a_json_body", "the Content-Type is \"" + request.content_type.substr(0, 60) + "\"",
                           request.target));
    return action.handler(std::move(request), std::move(reply));
  }
  std::string allowed;
  for (const auto& route : routes_) {
    if (!matches(route.path, path, request.captured)) continue;
    if (route.method == (reads(request) ? "GET" : "POST"))
      return run(route, std::move(request), std::move(reply));
    allowed +=
        (allowed.empty() ? "" : ", ") + (route.method == "GET" ? std::string("GET, HEAD") : route.method);
  }
  if (!allowed.empty()) return reply(only(request, allowed));
  Answer found;
  if (path.size() >= 2 && path[0] == "api" && path[1] == "v1") {
    found = read_api(request);
  } else if (path.empty()) {
    found = page(request, "index.html");
  } else if (path.size() == 2 && path[0] == "bench") {
    found = page(request, "bench.html");
  } else if (path.size() == 1 && std::find(sitting.begin(), sitting.end(), path[0]) != sitting.end()) {
    found = page(request, path[0] + ".html");
  } else if (path.size() >= 2 && path[0] == "pages") {
    std::string name = path[1];
    for (std::size_t at = 2; at < path.size(); ++at) name += "/" + path[at];
    found = page(request, name);
  } else if (path.size() == 2 && path[0] == "problems" && problem_page(path[1])) {
    found = *problem_page(path[1]);
  } else {
    found = problem("unknown_path", "the daemon has no such path", request.target);
  }
  if (!reads(request) && found.status < 400) found = only(request, "GET, HEAD");
  reply(std::move(found));
}

Answer Routes::read_api(const Request& request) const {
  const auto& path = request.segments;
  if (path.size() == 3) {
    if (path[2] == "benches") {
      json::array all;
      for (const auto& bench : desk_.benches()) {
        const auto view = desk_.view(bench);
        json::object row{{"bench", bench}};
        if (const auto* object = view.if_object())
          for (const auto* member : {"state", "person", "walk", "sequence"})
            if (const auto* value = object->if_contains(member)) row[member] = *value;
        all.push_back(std::move(row));
      }
      return json_answer(all);
    }
    if (path[2] == "health") {
      json::object health{{"status", "ok"}, {"version", surroundings_.version}};
      if (surroundings_.health)
        for (const auto& member : surroundings_.health()) health[member.key()] = member.value();
      return json_answer(health);
    }
    if (path[2] == "faults")
      return json_answer(surroundings_.faults ? surroundings_.faults() : json::array{});
    if (path[2] == "page")
      return json_answer(surroundings_.page_now ? surroundings_.page_now() : surroundings_.page);
    for (const auto& [name, subject] : lists)
      if (path[2] == name) return json_answer(desk_.list(std::string(subject)));
  }
  if (path.size() >= 3 && path.size() <= 4 && path[2] == "ports") {
    auto ports = desk_.list(path.size() == 3 ? "ports" : "ports/" + path[3]);
    if (!ports.is_null()) return json_answer(ports);
  }
  if (path.size() >= 4 && path[2] == "benches") return bench(request);
  if (path.size() == 4 && (path[2] == "checklists" || path[2] == "editions")) {
    auto edition = desk_.list("edition/" + path[3]);
    if (edition.is_null())
      return problem("unknown_edition", "there is no edition " + path[3].substr(0, 64), request.target);
    return json_answer(edition);
  }
  return problem("unknown_path", "the daemon has no such path", request.target);
}

Answer Routes::bench(const Request& request) const {
  const auto& path = request.segments;
  auto view = desk_.view(path[3]);
  if (view.is_null())
    return problem("unknown_bench", "there is no bench \"" + path[3].substr(0, 40) + "\"", request.target);
  if (path.size() == 4) return json_answer(view);
  if (path.size() == 5 && path[4] == "live") {
    auto answer = problem("upgrade_required", "this address is a WebSocket", request.target);
    answer.headers.emplace_back("Upgrade", "websocket");
    return answer;
  }
  return problem("unknown_path", "the daemon has no such path", request.target);
}

Answer Routes::page(const Request& request, const std::string& name) const {
  const auto at = pages_.find(name);
  if (at == pages_.end()) return problem("unknown_path", "there is no such page", request.target);
  Answer answer;
  answer.media_type = at->second.media_type;
  answer.headers = {{"ETag", at->second.etag}, {"Cache-Control", "no-cache"}};
  if (request.if_none_match.find(at->second.etag) != std::string::npos) {
    answer.status = 304;
  } else {
    answer.body = std::string(at->second.bytes);
  }
  return answer;
}

namespace {

Answer handled(const Route& route, const Request& request) {
  try {
    if (auto found = route.handler(request))
      return std::move(*found);
    else
      return problem(found.error(), request.target);
  } catch (const std::exception& fault) {
    return problem("broken", fault.what(), request.target);
  }
}

}  // namespace

void Routes::run(const Route& route, Request request, Reply reply) {
  if (route.method == "POST") {
    const auto type = request.content_type.substr(0, request.content_type.find(';'));
    if (type != "application/json")
      return reply(
          problem("not_a_json_body", "the Content-Type is \"" + type.substr(0, 60) + "\"", request.target));
  }
  if (route.on_io) return reply(handled(route, request));
  // `route` lives in routes_, which the server keeps until the pool has ended.
  on_pool_([this, &route, request = std::move(request), reply = std::move(reply)] {
    on_io_([reply, answer = handled(route, request)]() mutable { reply(std::move(answer)); });
  });
}

void Routes::command(Request request, Reply reply) {
  const auto type = request.content_type.substr(0, request.content_type.find(';'));
  if (type != "application/json")
    return reply(
        problem("not_a_json_body", "the Content-Type is \"" + type.substr(0, 60) + "\"", request.target));
  const auto bench = request.segments.size() == 5 ? request.segments[3] : std::string();
  if (!bench.empty() && desk_.view(bench).is_null())
    return reply(
        problem("unknown_bench", "there is no bench \"" + bench.substr(0, 40) + "\"", request.target));
  auto command = command_from(request, bench);
  if (!command) return reply(problem(command.error(), request.target));
  desk_.command(std::move(*command), [reply, target = request.target](Expected<json::object> done) {
    reply(done ? json_answer(std::move(*done)) : problem(done.error(), target));
  });
}

namespace {

Done take_text(json::object& from, const char* name, std::string& out) {
  const auto at = from.find(name);
  if (at == from.end()) return {};
  if (!at->value().is_null()) {
    if (!at->value().is_string())
      return fail("wrong_shape", "expected a text, found " + json::serialize(at->value()).substr(0, 60),
                  name);
    out = std::string(at->value().as_string());
  }
  from.stable_erase(at);
  return {};
}

}  // namespace

Expected<walk::Command> command_from(const Request& request, const std::string& bench) {
  auto read = object_from(request.body);
  if (!read) return tl::unexpected(read.error());
  auto& object = *read;
  walk::Command command;
  command.idempotency_key = request.idempotency_key;
  std::string named_bench;
  for (const auto& [name, out] : {std::pair<const char*, std::string*>{"kind", &command.kind},
                                  {"idempotency_key", &command.idempotency_key},
                                  {"display", &command.display},
                                  {"bench", &named_bench}})
    if (auto done = take_text(object, name, *out); !done) return tl::unexpected(done.error());
  if (command.kind.empty())
    return fail("wrong_shape", "the command has no kind", "kind", "API.md lists the kinds");
  if (command.idempotency_key.size() > 100)
    return fail("wrong_shape", "the idempotency key is longer than 100 letters", "idempotency_key");
  if (!bench.empty() && !named_bench.empty() && bench != named_bench)
    return fail("wrong_shape", "the body names bench \"" + named_bench + "\", the path \"" + bench + "\"",
                "bench");
  command.bench = bench.empty() ? named_bench : bench;
  if (const auto at = object.find("saw"); at != object.end()) {
    if (!at->value().is_object() && !at->value().is_null())
      return fail("wrong_shape", "expected an object", "saw", "{\"walk\", \"part\", \"ask\"}");
    if (at->value().is_object()) {
      auto& saw = at->value().as_object();
      for (const auto& [name, out] : {std::pair<const char*, std::string*>{"walk", &command.saw.walk},
                                      {"part", &command.saw.part},
                                      {"ask", &command.saw.ask}})
        if (auto done = take_text(saw, name, *out); !done) return tl::unexpected(done.error());
    }
    object.stable_erase(object.find("saw"));
  }
  command.body = std::move(object);
  return command;
}

}  // namespace tallystick::serve
