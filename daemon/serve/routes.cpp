#include "daemon/serve/routes.hpp"

#include <algorithm>
#include <array>
#include <exception>

#include "daemon/checklist/edition.hpp"
#include "daemon/serve/openapi.hpp"
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
constexpr std::array<std::string_view, 5> sitting{"gauges", "records", "suspects", "checklists", "faults"};

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

/// The bytes, or 304 where the sender has them already (RFC 9110, 13.1.2).
Answer unchanged_or(const Request& request, const std::string& tag, std::string media_type,
                    std::string_view bytes) {
  Answer answer;
  answer.media_type = std::move(media_type);
  answer.headers = {{"ETag", tag}, {"Cache-Control", "no-cache"}};
  if (request.if_none_match.find(tag) != std::string::npos) {
    answer.status = 304;
  } else {
    answer.body = std::string(bytes);
  }
  return answer;
}

/// "gzip" is named and not weighed with nothing (RFC 9110, 12.5.3).
bool accepts_gzip(const Request& request) {
  const auto at = request.accept_encoding.find("gzip");
  if (at == std::string::npos) return false;
  const auto rest = request.accept_encoding.substr(at + 4, request.accept_encoding.find(',', at) - at - 4);
  const auto weight = rest.find("q=");
  return weight == std::string::npos || rest.find_first_of("123456789", weight) != std::string::npos;
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
    : desk_(desk), surroundings_(surroundings), on_pool_(std::move(on_pool)), on_io_(std::move(on_io)) {
  for (const auto& file : surroundings.files)
    pages_[std::string(file.name)] = {file.bytes, file.gzip, '"' + checklist::sha256_hex(file.bytes).substr(0, 32) + '"',
                                      media_type_of(file.name)};
  add_handed_in();
  add_desk();
  add_house();
  add_pages();
}

void Routes::add(std::string path, std::string method, Serve serve) {
  table_.push_back({std::move(path), std::move(method), std::move(serve)});
}

void Routes::read(std::string path, std::function<Answer(const Request&)> answer) {
  add(std::move(path), "GET", [answer = std::move(answer)](const Request& request, const Reply& reply) {
    reply(answer(request));
  });
}

void Routes::add_handed_in() {
  for (const auto& action : surroundings_.actions) add(action.path, "POST", action.handler);
  for (const auto& route : surroundings_.routes) {
    add(route.path, route.method, [this, route](Request request, Reply reply) {
      run(route, std::move(request), std::move(reply));
    });
  }
  if (!surroundings_.drawing) return;
  const Route drawing{"/api/v1/drawings/{sha256}", [this](const Request& request) {
                        return surroundings_.drawing(request.captured.at("sha256"));
                      }};
  add(drawing.path, "GET", [this, drawing](Request request, Reply reply) {
    run(drawing, std::move(request), std::move(reply));
  });
}

void Routes::add_desk() {
  const auto commands = [this](Request request, Reply reply) {
    command(std::move(request), std::move(reply));
  };
  add("/api/v1/commands", "POST", commands);
  add("/api/v1/benches/{bench}/commands", "POST", commands);
  read("/api/v1/benches", [this](const Request&) { return benches(); });
  read("/api/v1/benches/{bench}", [this](const Request& request) { return bench(request); });
  read("/api/v1/benches/{bench}/live", [this](const Request& request) { return bench(request); });
  for (const auto& [name, subject] : lists)
    read("/api/v1/" + std::string(name), [this, subject = std::string(subject)](const Request&) {
      return json_answer(desk_.list(subject));
    });
  read("/api/v1/ports", [this](const Request& request) { return list_or_unknown("ports", request); });
  read("/api/v1/ports/{list}", [this](const Request& request) {
    return list_or_unknown("ports/" + request.captured.at("list"), request);
  });
  for (const char* path : {"/api/v1/checklists/{sha256}", "/api/v1/editions/{sha256}"})
    read(path, [this](const Request& request) {
      const auto& sha = request.captured.at("sha256");
      auto edition = desk_.list("edition/" + sha);
      if (edition.is_null())
        return problem("unknown_edition", "there is no edition " + sha.substr(0, 64), request.target);
      return json_answer(edition);
    });
}

void Routes::add_house() {
  read("/api/v1/health", [this](const Request&) {
    json::object health{{"status", "ok"}, {"version", surroundings_.version}};
    if (surroundings_.health)
      for (const auto& member : surroundings_.health()) health[member.key()] = member.value();
    return json_answer(health);
  });
  read("/api/v1/faults", [this](const Request&) {
    return json_answer(surroundings_.faults ? surroundings_.faults() : json::array{});
  });
  read("/api/v1/page", [this](const Request&) {
    return json_answer(surroundings_.page_now ? surroundings_.page_now() : surroundings_.page);
  });
  read("/metrics", [this](const Request&) {
    Answer answer;
    answer.media_type = metrics_media_type;
    answer.headers.emplace_back("Cache-Control", "no-store");
    answer.body = metrics_text(measured());
    return answer;
  });
  read("/api/v1/openapi.json", [tag = '"' + checklist::sha256_hex(openapi_document()).substr(0, 32) + '"'](
                                   const Request& request) {
    return unchanged_or(request, tag, "application/json", openapi_document());
  });
  read("/api/v1/routes", [this](const Request&) {
    json::array rows;
    for (const auto& entry : table_) rows.push_back({{"method", entry.method}, {"path", entry.path}});
    return json_answer(rows);
  });
}

void Routes::add_pages() {
  read("/", [this](const Request& request) { return page(request, "index.html"); });
  read("/bench/{bench}", [this](const Request& request) { return page(request, "bench.html"); });
  for (const auto name : sitting)
    read('/' + std::string(name), [this, file = std::string(name) + ".html"](const Request& request) {
      return page(request, file);
    });
  read("/pages/{file}",
       [this](const Request& request) { return page(request, request.captured.at("file")); });
  read("/problems/{code}", [](const Request& request) {
    auto found = problem_page(request.captured.at("code"));
    return found ? std::move(*found)
                 : problem("unknown_path", "no problem of the daemon has this code", request.target);
  });
}

void Routes::answer(Request request, Reply reply) {
  if (!reads(request) && request.method != "POST" && request.method != "PUT")
    return reply(only(request, "GET, HEAD"));
  std::string allowed;
  for (const auto& entry : table_) {
    request.captured.clear();
    if (!matches(entry.path, request.segments, request.captured)) continue;
    if (entry.method != (reads(request) ? "GET" : request.method)) {
      allowed +=
          (allowed.empty() ? "" : ", ") + (entry.method == "GET" ? std::string("GET, HEAD") : entry.method);
      continue;
    }
    const auto type = request.content_type.substr(0, request.content_type.find(';'));
    const bool wrong_body = (entry.method == "POST" && type != "application/json") ||
                            (entry.method == "PUT" && type != "text/csv");
    if (wrong_body)
      return reply(problem(entry.method == "PUT" ? "not_a_csv_body" : "not_a_json_body",
                           "the Content-Type is \"" + type.substr(0, 60) + "\"", request.target));
    return entry.serve(std::move(request), std::move(reply));
  }
  reply(allowed.empty() ? problem("unknown_path", "the daemon has no such path", request.target)
                        : only(request, allowed));
}

Measured Routes::measured() const {
  Measured out;
  out.ports = desk_.list("ports");
  out.recent = desk_.list("ports/recent");
  out.gauges = desk_.list("gauges");
  out.walks = desk_.list("walks");
  out.suspects = desk_.list("suspects");
  if (surroundings_.health) out.health = surroundings_.health();
  if (surroundings_.faults) out.faults = surroundings_.faults().size();
  out.connections = connections_ ? connections_() : 0;
  out.version = surroundings_.version;
  const auto benches = desk_.benches();
  out.benches = benches.size();
  for (const auto& bench : benches)
    if (const auto view = desk_.view(bench); view.is_object())
      if (const auto* keeping = view.as_object().if_contains("keeping"); keeping && keeping->is_object())
        if (const auto* kept = keeping->as_object().if_contains("kept"); kept && kept->is_bool())
          out.kept = out.kept && kept->as_bool();
  return out;
}

Answer Routes::list_or_unknown(const std::string& subject, const Request& request) const {
  const auto found = desk_.list(subject);
  if (found.is_null()) return problem("unknown_path", "the daemon has no such path", request.target);
  return json_answer(found);
}

Answer Routes::benches() const {
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

Answer Routes::bench(const Request& request) const {
  const auto& bench = request.captured.at("bench");
  auto view = desk_.view(bench);
  if (view.is_null())
    return problem("unknown_bench", "there is no bench \"" + bench.substr(0, 40) + "\"", request.target);
  if (request.segments.back() != "live" || request.segments.size() == 4) return json_answer(view);
  auto answer = problem("upgrade_required", "this address is a WebSocket", request.target);
  answer.headers.emplace_back("Upgrade", "websocket");
  return answer;
}

Answer Routes::page(const Request& request, const std::string& name) const {
  const auto at = pages_.find(name);
  if (at == pages_.end()) return problem("unknown_path", "there is no such page", request.target);
  const auto& page = at->second;
  const bool compressed = !page.gzip.empty() && accepts_gzip(request);
  // Two representations of one address: each has a tag of its own (RFC 9110, 8.8.3).
  auto tag = page.etag;
  if (compressed) tag.insert(tag.size() - 1, "-gzip");
  auto answer = unchanged_or(request, tag, page.media_type, compressed ? page.gzip : page.bytes);
  if (compressed) answer.headers.emplace_back("Content-Encoding", "gzip");
  if (!page.gzip.empty()) answer.headers.emplace_back("Vary", "Accept-Encoding");
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
  if (route.on_io) return reply(handled(route, request));
  // `route` lives in table_, which the server keeps until the pool has ended.
  on_pool_([this, &route, request = std::move(request), reply = std::move(reply)] {
    on_io_([reply, answer = handled(route, request)]() mutable { reply(std::move(answer)); });
  });
}

void Routes::command(Request request, Reply reply) {
  const auto named = request.captured.find("bench");
  const auto bench = named == request.captured.end() ? std::string() : named->second;
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
