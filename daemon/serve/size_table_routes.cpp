#include "daemon/serve/size_table_routes.hpp"

#include <boost/json.hpp>
#include <memory>
#include <mutex>

#include "daemon/checklist/edition.hpp"
#include "daemon/record/configuration_files.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/serve/problem.hpp"
#include "daemon/serve/routes.hpp"

namespace tallystick::serve {
namespace {

namespace json = boost::json;
namespace files = std::filesystem;

struct Table {
  files::path family, file;
  std::string bytes, tag;
};

std::string tag_of(const std::string& bytes) {
  return '"' + checklist::sha256_hex(bytes).substr(0, 32) + '"';
}

Expected<Table> table_of(const files::path& configuration, const std::string& key) {
  const auto loaded = record::load_configuration(configuration);
  if (!loaded) return tl::unexpected(loaded.error());
  for (const auto& path : loaded->shop.families) {
    std::vector<checklist::Fault> ignored;
    const auto family = record::load_family_file(path, ignored);
    if (!family || family->key != key) continue;
    Table out;
    out.family = path;
    out.file = files::path(path).parent_path() / family->table_file;
    auto bytes = record::bytes_of_file(out.file);
    if (!bytes) return tl::unexpected(bytes.error());
    out.bytes = std::move(*bytes);
    out.tag = tag_of(out.bytes);
    return out;
  }
  return fail("unknown_family", "there is no family " + tallystick::quoted(key.substr(0, 40)), "family",
              "GET /api/v1/checklists lists what is published");
}

json::array faults_of(const std::vector<checklist::Fault>& faults) {
  json::array out;
  for (const auto& fault : faults)
    out.push_back({{"severity", fault.severity == checklist::Severity::fault ? "fault" : "warning"},
                   {"code", fault.code},
                   {"what", fault.what},
                   {"where", fault.file + (fault.line > 0 ? ':' + std::to_string(fault.line) : "")},
                   {"hint", fault.remedy}});
  return out;
}

/// True where `if_match` names the tag, by strong comparison (RFC 9110, 13.1.1), or any ("*").
bool names(std::string_view if_match, std::string_view tag) {
  while (!if_match.empty()) {
    const auto comma = if_match.find(',');
    auto one = if_match.substr(0, comma);
    while (!one.empty() && one.front() == ' ') one.remove_prefix(1);
    while (!one.empty() && one.back() == ' ') one.remove_suffix(1);
    if (one == "*" || one == tag) return true;
    if (comma == std::string_view::npos) break;
    if_match.remove_prefix(comma + 1);
  }
  return false;
}

Answer shown(const Table& table) {
  Answer answer;
  answer.media_type = "text/csv; charset=utf-8";
  answer.headers = {{"ETag", table.tag}, {"Cache-Control", "no-cache"}};
  answer.body = table.bytes;
  return answer;
}

Expected<Answer> replace(const files::path& configuration, const Request& request) {
  if (request.if_match.empty())
    return fail("precondition_required", "an edit must say which table it is based on", "If-Match",
                "GET the table, edit it, and send its ETag back in If-Match");
  const auto table = table_of(configuration, request.captured.at("family"));
  if (!table) return tl::unexpected(table.error());
  if (!names(request.if_match, table->tag)) {
    auto answer = problem("precondition_failed", "the table was changed meanwhile", request.target,
                          "GET it again, and put your change into what stands there now");
    answer.headers.emplace_back("ETag", table->tag);
    return answer;
  }
  std::vector<checklist::Fault> faults;
  const auto family = record::load_family_file(table->family, faults, &request.body);
  if (!family) return tl::unexpected(family.error());
  if (!checklist::sound(faults) || family->sizes.empty()) {
    auto answer = problem("not_sound", "with this table the family has faults; nothing was written",
                          request.target, "mend what \"faults\" names");
    auto body = json::parse(answer.body).as_object();
    body["faults"] = faults_of(faults);
    answer.body = json::serialize(body);
    return answer;
  }
  std::error_code code;
  const auto mode = files::status(table->file, code).permissions();
  if (auto done = record::write_durably(table->file, request.body); !done)
    return tl::unexpected(done.error());
  files::permissions(table->file, mode, code);
  auto answer = json_answer(
      json::object{{"written", true}, {"sizes", family->sizes.size()}, {"faults", faults_of(faults)}});
  answer.headers.emplace_back("ETag", tag_of(request.body));
  return answer;
}

}  // namespace

std::vector<Route> size_table_routes(files::path configuration) {
  const std::string path = "/api/v1/families/{family}/sizes";
  // Between the comparison and the writing nobody else may write.
  const auto one_at_a_time = std::make_shared<std::mutex>();
  return {{path,
           [configuration](const Request& request) -> Expected<Answer> {
             const auto table = table_of(configuration, request.captured.at("family"));
             if (!table) return tl::unexpected(table.error());
             if (request.if_none_match.empty() || !names(request.if_none_match, table->tag))
               return shown(*table);
             Answer same;
             same.status = 304;
             same.headers = {{"ETag", table->tag}};
             return same;
           }},
          {path,
           [configuration, one_at_a_time](const Request& request) {
             const std::lock_guard lock(*one_at_a_time);
             return replace(configuration, request);
           },
           "PUT"}};
}

}  // namespace tallystick::serve
