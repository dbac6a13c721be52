#include "daemon/export/routes.hpp"

#include <boost/json.hpp>
#include <charconv>
#include <memory>
#include <stdexcept>

#include "daemon/export/columns.hpp"
#include "daemon/export/feed.hpp"

namespace tallystick::exporting {
namespace {

namespace json = boost::json;
using Query = std::map<std::string, std::string>;
using Answered = tl::expected<Answer, Refusal>;

constexpr std::size_t page_default = 500;
constexpr std::size_t page_most = 5000;

tl::unexpected<Refusal> refuse(Error error) { return tl::unexpected<Refusal>(Refusal{std::move(error), {}}); }

// A cursor that no longer lies on the journal's path is answered with the way to go on.
tl::unexpected<Refusal> refuse(Error error, const record::Place& place, const Query& query) {
  Refusal refusal{std::move(error), {}};
  if (refusal.error.code != "past_branch_point") return tl::unexpected<Refusal>(std::move(refusal));
  for (const char* name : {"after", "until"}) {
    const auto at = query.find(name);
    if (at == query.end()) continue;
    auto cursor = record::cursor_from(at->second);
    auto reader = record::Reader::open(place);
    if (!cursor || !reader) continue;
    if (auto point = (*reader)->branch_point(*cursor); point && *point) {
      refusal.branch_point = **point;
      break;
    }
  }
  return tl::unexpected<Refusal>(std::move(refusal));
}

std::string percent_encoded(std::string_view text) {
  constexpr std::string_view plain = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";
  constexpr std::string_view digits = "0123456789ABCDEF";
  std::string out;
  for (const char letter : text) {
    if (plain.find(letter) != std::string_view::npos) {
      out += letter;
    } else {
      out += '%';
      out += digits[static_cast<unsigned char>(letter) >> 4U];
      out += digits[static_cast<unsigned char>(letter) & 15U];
    }
  }
  return out;
}

// The same question, asked for what comes behind this answer (RFC 8288).
std::string next_link(const std::string& path, const Query& query, const std::string& cursor) {
  std::string out = '<' + path + "?after=" + percent_encoded(cursor);
  for (const auto& [name, value] : query)
    if (name != "after" && name != "until") out += '&' + percent_encoded(name) + '=' + percent_encoded(value);
  return out + ">; rel=\"next\"";
}

Answered stream(const record::Place& place, const std::string& path, Form form, const Query& query) {
  auto selection = selection_from(query);
  if (!selection) return refuse(selection.error());
  auto reader = record::Reader::open(place);
  if (!reader) return refuse(reader.error());
  auto opened = FactFeed::open(std::move(*reader), *selection, form);
  if (!opened) return refuse(opened.error(), place, query);
  const std::shared_ptr<FactFeed> feed = std::move(*opened);
  const auto cursor = text(feed->go_on());
  Answer answer;
  answer.media_type = media_type(form);
  answer.headers = {
      {"Cache-Control", "no-store"}, {"Tallystick-Cursor", cursor}, {"Link", next_link(path, query, cursor)}};
  answer.pull = [feed] {
    auto piece = feed->next();
    if (!piece) throw std::runtime_error(text(piece.error()));
    return std::move(*piece);
  };
  return answer;
}

Answer json_answer(const json::value& value) {
  Answer answer;
  answer.media_type = "application/json";
  answer.headers = {{"Cache-Control", "no-store"}};
  answer.body = json::serialize(value);
  return answer;
}

Answered end_of_record(const record::Place& place, const Query& query) {
  if (!query.empty())
    return refuse({"unknown_parameter", "this path takes no parameters", query.begin()->first, {}});
  auto reader = record::Reader::open(place);
  if (!reader) return refuse(reader.error());
  auto end = (*reader)->end();
  if (!end) return refuse(end.error());
  return json_answer(json::value{{"cursor", text(*end)}});
}

Expected<std::size_t> take_limit(Query& query) {
  const auto at = query.find("limit");
  if (at == query.end()) return page_default;
  std::size_t limit = 0;
  const auto& written = at->second;
  const auto [end, fault] = std::from_chars(written.data(), written.data() + written.size(), limit);
  if (fault != std::errc{} || end != written.data() + written.size() || limit == 0 || limit > page_most)
    return fail(
        "wrong_parameter",
        "expected a count from 1 to " + std::to_string(page_most) + ", found " + tallystick::quoted(written),
        "limit");
  query.erase(at);
  return limit;
}

// One page: {"results": [...], "cursor": "...", "more": false}. The objects are the lines of JSON Lines.
Answered results(const record::Place& place, const std::string& path, Query query) {
  const auto asked = query;
  auto limit = take_limit(query);
  if (!limit) return refuse(limit.error());
  query.try_emplace("kind", "result");
  if (query.at("kind") == "any") query.erase("kind");
  auto selection = selection_from(query);
  if (!selection) return refuse(selection.error());
  if (!selection->until.empty())
    return refuse(
        {"unknown_parameter", "this path takes no \"until\"", "until", "use \"limit\", or export.jsonl"});
  auto reader = record::Reader::open(place);
  if (!reader) return refuse(reader.error());
  std::string body = "{\"results\":[";
  auto swept = (*reader)->sweep_facts(selection->after, selection->filter, *limit, selection->view,
                                      [&](const auto& fact) {
                                        append_json_line(body, fact);
                                        body.back() = ',';
                                        return true;
                                      });
  if (!swept) return refuse(swept.error(), place, query);
  if (body.back() == ',') body.pop_back();
  body += "],\"cursor\":" + json::serialize(json::string(text(swept->next)));
  body += swept->more ? ",\"more\":true}" : ",\"more\":false}";
  Answer answer;
  answer.media_type = "application/json";
  answer.headers = {{"Cache-Control", "no-store"}, {"Tallystick-Cursor", text(swept->next)}};
  if (swept->more) answer.headers.emplace_back("Link", next_link(path, asked, text(swept->next)));
  answer.body = std::move(body);
  return answer;
}

}  // namespace

std::vector<Route> routes(record::Place place) {
  const auto shared = std::make_shared<const record::Place>(std::move(place));
  const auto streamed = [shared](const std::string& path, Form form) {
    return Route{path,
                 [shared, path, form](const Query& query) { return stream(*shared, path, form, query); }};
  };
  return {
      streamed("/api/v1/export.csv", Form::csv), streamed("/api/v1/export.jsonl", Form::json_lines),
      Route{"/api/v1/export/cursor", [shared](const Query& query) { return end_of_record(*shared, query); }},
      Route{"/api/v1/results", [shared](const Query& query) { return results(*shared, "/api/v1/results", query); }}};
}

}  // namespace tallystick::exporting
