#include "daemon/serve/history_routes.hpp"

#include <algorithm>
#include <charconv>
#include <memory>

#include "daemon/export/selection.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/history.hpp"
#include "daemon/serve/problem.hpp"
#include "daemon/serve/routes.hpp"

namespace tallystick::serve {
namespace {

namespace json = boost::json;
using record::Cursor;

struct Asked {
  exporting::Selection selection;
  Cursor before, until;
  std::size_t limit = 100;
};

Expected<Asked> asked_from(const Request& request, record::Reader& reader) {
  Asked out;
  auto query = request.query;
  const auto take = [&](const char* name) {
    const auto at = query.find(name);
    std::string value = at == query.end() ? "" : at->second;
    if (at != query.end()) query.erase(at);
    return value;
  };
  if (const auto limit = take("limit"); !limit.empty()) {
    const auto [end, fault] = std::from_chars(limit.data(), limit.data() + limit.size(), out.limit);
    if (fault != std::errc{} || end != limit.data() + limit.size() || out.limit == 0 || out.limit > 500)
      return fail("wrong_parameter", "expected a count from 1 to 500, found " + tallystick::quoted(limit), "limit");
  }
  const auto before = record::cursor_from(take("before"));
  if (!before) return tl::unexpected(before.error());
  const auto until = record::cursor_from(take("until"));
  if (!until) return tl::unexpected(until.error());
  for (const char* name : {"after"})
    if (query.contains(name))
      return fail("unknown_parameter", std::string("this path takes no \"") + name + "\"", name,
                  "use \"before\"");
  auto selection = exporting::selection_from(query);
  if (!selection) return tl::unexpected(selection.error());
  out.selection = std::move(*selection);
  out.until = *until;
  if (out.until.at_beginning()) {
    auto end = reader.end();
    if (!end) return tl::unexpected(end.error());
    out.until = *end;
  }
  out.before = before->at_beginning() ? out.until : *before;
  return out;
}

Answer page_of(json::array rows, const char* name, const Cursor& next, bool more, const Asked& asked) {
  return json_answer(json::object{
      {name, std::move(rows)}, {"cursor", text(next)}, {"more", more}, {"until", text(asked.until)}});
}

json::object fact_json(const std::string& key, const Fact& fact) {
  auto row = mirror::write<true>(fact).as_object();
  row["key"] = key;
  return row;
}

Expected<Answer> facts(const Asked& asked, record::Reader& reader) {
  const auto page =
      reader.facts_before(asked.before, asked.selection.filter, asked.limit, asked.selection.view);
  if (!page) return tl::unexpected(page.error());
  json::array rows;
  std::vector<std::string> keys;
  for (const auto& row : page->rows) keys.push_back(record::fact_key(row.event, row.n));
  const auto marks = reader.mark_states(keys);
  if (!marks) return tl::unexpected(marks.error());
  for (std::size_t n = 0; n < keys.size(); ++n) {
    auto row = fact_json(keys[n], page->rows[n].fact);
    row["mark"] = (*marks)[n];
    rows.push_back(std::move(row));
  }
  return page_of(std::move(rows), "facts", page->next, page->more, asked);
}

Expected<Answer> parts(const Asked& asked, record::Reader& reader) {
  const auto page = parts_before(reader, asked.before, asked.until, asked.selection.filter,
                                 asked.selection.view, asked.limit);
  if (!page) return tl::unexpected(page.error());
  return page_of(mirror::write<true>(page->rows).as_array(), "parts", page->next, page->more, asked);
}

Expected<Answer> walks(const Asked& asked, record::Reader& reader) {
  const auto page =
      walks_before(reader, asked.before, asked.selection.filter, asked.selection.view, asked.limit);
  if (!page) return tl::unexpected(page.error());
  return page_of(mirror::write<true>(page->rows).as_array(), "walks", page->next, page->more, asked);
}

/// One of the marks on it has not ended.
bool stands_marked(const record::History& history, const record::HistoryFact& fact) {
  return std::any_of(history.facts.begin(), history.facts.end(), [&](const auto& mark) {
    return mark.overruled_by.empty() && std::find(fact.marked_by.begin(), fact.marked_by.end(), mark.key) != fact.marked_by.end();
  });
}

Answer history_json(const record::History& history) {
  json::object out{{"lot", history.lot},
                   {"lot_name", history.lot_name},
                   {"family", history.family},
                   {"size", history.size},
                   {"serial", history.serial},
                   {"walks", mirror::write(history.walks)},
                   {"lines", mirror::write<true>(history.lines)}};
  json::array all;
  for (const auto& fact : history.facts) {
    auto row = fact_json(fact.key, fact.fact);
    row["overruled_by"] = fact.overruled_by;
    row["marked_by"] = mirror::write(fact.marked_by);
    row["mark"] = fact.marked_by.empty() ? "" : stands_marked(history, fact) ? "suspect" : "cleared";
    all.push_back(std::move(row));
  }
  out["facts"] = std::move(all);
  json::array editions;
  for (const auto& [sha, bytes] : history.editions) {
    boost::system::error_code code;
    auto edition = json::parse(bytes, code);
    editions.push_back({{"sha", sha}, {"edition", code ? json::value(nullptr) : std::move(edition)}});
  }
  out["editions"] = std::move(editions);
  return json_answer(out);
}

using Opened = std::unique_ptr<record::Reader>;
using List = Expected<Answer> (*)(const Asked&, record::Reader&);
using Tell = Expected<record::History> (*)(record::Reader&, std::string_view);

Route list_route(const std::shared_ptr<const record::Place>& place, const std::string& name, List list) {
  return {"/api/v1/records/" + name, [place, list](const Request& request) -> Expected<Answer> {
            auto reader = record::Reader::open(*place);
            if (!reader) return tl::unexpected(reader.error());
            auto asked = asked_from(request, **reader);
            if (!asked) return tl::unexpected(asked.error());
            return list(*asked, **reader);
          }};
}

Route history_route(const std::shared_ptr<const record::Place>& place, const std::string& name, Tell tell) {
  return {"/api/v1/records/" + name + "/{key}", [place, tell](const Request& request) -> Expected<Answer> {
            auto reader = record::Reader::open(*place);
            if (!reader) return tl::unexpected(reader.error());
            auto history = tell(**reader, request.captured.at("key"));
            if (!history) return tl::unexpected(history.error());
            return history_json(*history);
          }};
}

}  // namespace

std::vector<Route> history_routes(record::Place place) {
  const auto shared = std::make_shared<const record::Place>(std::move(place));
  return {list_route(shared, "facts", facts), list_route(shared, "parts", parts),
          list_route(shared, "walks", walks), history_route(shared, "parts", record::part_history),
          history_route(shared, "walks", record::walk_history)};
}

}  // namespace tallystick::serve
