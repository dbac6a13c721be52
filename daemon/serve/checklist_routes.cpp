#include "daemon/serve/checklist_routes.hpp"

#include <algorithm>

#include "daemon/checklist/family.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/serve/problem.hpp"
#include "daemon/serve/routes.hpp"
#include "daemon/walk/dry_run.hpp"

namespace tallystick::serve {
namespace {

namespace json = boost::json;
using checklist::Edition;

std::string name_of(const Edition& edition) {
  return edition.family + "/" + edition.size + "/" + edition.print_revision;
}

Expected<Edition> edition_named(const ChecklistSeams& seams, const std::string& name) {
  if (const auto published = seams.desk.list("edition/" + name); published.is_object())
    return checklist::edition_from(json::serialize(published));
  for (auto& edition : seams.worked_out())
    if (name_of(edition) == name) return edition;
  return fail(
      "unknown_edition", "there is no edition " + tallystick::quoted(name.substr(0, 80)), "edition",
      "name its SHA-256 (GET /api/v1/checklists), or \"family/size/print revision\" as worked out now");
}

/// The editions published, parsed, with their SHA-256.
std::vector<std::pair<std::string, Edition>> published_of(const ChecklistSeams& seams) {
  std::vector<std::pair<std::string, Edition>> out;
  const auto list = seams.desk.list("editions");
  if (!list.is_array()) return out;
  for (const auto& row : list.as_array()) {
    const auto* withdrawn = row.as_object().if_contains("withdrawn");
    if (withdrawn && withdrawn->is_bool() && withdrawn->as_bool()) continue;
    const std::string sha(row.at("sha").as_string());
    if (auto edition = edition_named(seams, sha)) out.emplace_back(sha, std::move(*edition));
  }
  return out;
}

Answer worked_out(const ChecklistSeams& seams) {
  const auto published = published_of(seams);
  json::array out;
  for (const auto& edition : seams.worked_out()) {
    const std::pair<std::string, Edition>* newest = nullptr;
    for (const auto& one : published)
      if (name_of(one.second) == name_of(edition) && (!newest || newest->second.number < one.second.number))
        newest = &one;
    const auto differences = newest ? checklist::compare(newest->second, edition).size() : 0;
    out.push_back({{"name", name_of(edition)},
                   {"family", edition.family},
                   {"size", edition.size},
                   {"print_revision", edition.print_revision},
                   {"part_number", edition.part_number},
                   {"title", edition.title},
                   {"state", !newest       ? "new"
                             : differences ? "changed"
                                           : "unchanged"},
                   {"published", newest ? json::value(newest->first) : json::value(nullptr)},
                   {"published_number", newest ? json::value(newest->second.number) : json::value(nullptr)},
                   {"differences", differences}});
  }
  return json_answer(out);
}

json::object head_of(const Edition& edition, const std::string& name) {
  return {{"name", name},
          {"family", edition.family},
          {"size", edition.size},
          {"print_revision", edition.print_revision},
          {"number", edition.number}};
}

Expected<Answer> compare(const ChecklistSeams& seams, const Request& request) {
  for (const char* name : {"before", "after"})
    if (!request.query.contains(name))
      return fail("wrong_parameter", "it is missing", name, "name two editions: ?before=...&after=...");
  const auto before = edition_named(seams, request.query.at("before"));
  if (!before) return tl::unexpected(before.error());
  const auto after = edition_named(seams, request.query.at("after"));
  if (!after) return tl::unexpected(after.error());
  return json_answer(json::object{{"before", head_of(*before, request.query.at("before"))},
                                  {"after", head_of(*after, request.query.at("after"))},
                                  {"differences", mirror::write<true>(checklist::compare(*before, *after))}});
}

Expected<Answer> dry_run(const ChecklistSeams& seams, const Request& request) {
  const auto body = object_from(request.body);
  if (!body) return tl::unexpected(body.error());
  std::string edition_name, stage, bench;
  for (const auto& [name, out] :
       {std::pair<const char*, std::string*>{"edition", &edition_name}, {"stage", &stage}, {"bench", &bench}})
    if (const auto* value = body->if_contains(name)) {
      if (!value->is_string()) return fail("wrong_shape", "expected a text", name);
      *out = value->as_string();
    }
  std::vector<walk::DryGiven> given;
  if (const auto* values = body->if_contains("values"))
    if (auto done = mirror::read(*values, given, "values"); !done) return tl::unexpected(done.error());
  const auto edition = edition_named(seams, edition_name);
  if (!edition) return tl::unexpected(edition.error());
  const auto benches = seams.desk.benches();
  if (bench.empty() && !benches.empty()) bench = benches.front();
  if (std::find(benches.begin(), benches.end(), bench) == benches.end())
    return fail("unknown_bench", "there is no bench " + tallystick::quoted(bench.substr(0, 40)), "bench");
  // Of each other size the edition that is published, else the one that is worked out.
  std::vector<Edition> others;
  std::vector<std::string> sizes{edition->size};
  const auto add = [&](const Edition& other) {
    if (other.family != edition->family || std::find(sizes.begin(), sizes.end(), other.size) != sizes.end())
      return;
    sizes.push_back(other.size);
    others.push_back(other);
  };
  for (const auto& [sha, other] : published_of(seams)) add(other);
  for (const auto& other : seams.worked_out()) add(other);
  const auto run =
      walk::dry_run(*edition, others, seams.gauges(), bench, stage.empty() ? "final" : stage, given);
  if (!run) return tl::unexpected(run.error());
  return json_answer(mirror::write<true>(*run));
}

}  // namespace

std::vector<Route> checklist_routes(ChecklistSeams seams) {
  const auto one = [seams](const Request& request) -> Expected<Answer> {
    const auto edition =
        edition_named(seams, request.captured.at("family") + "/" + request.captured.at("size") + "/" +
                                 request.captured.at("print_revision"));
    if (!edition) return tl::unexpected(edition.error());
    return json_answer(json::parse(checklist::to_json_text(*edition)));
  };
  return {{"/api/v1/checklists/worked-out/{family}/{size}/{print_revision}", one, "GET", true},
          {"/api/v1/checklists/worked-out",
           [seams](const Request&) -> Expected<Answer> { return worked_out(seams); }, "GET", true},
          {"/api/v1/checklists/compare", [seams](const Request& request) { return compare(seams, request); },
           "GET", true},
          {"/api/v1/checklists/dry-run", [seams](const Request& request) { return dry_run(seams, request); },
           "POST", true}};
}

}  // namespace tallystick::serve
