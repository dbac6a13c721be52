#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/fact_query.hpp"

#include <boost/describe.hpp>
#include <boost/mp11/algorithm.hpp>

namespace tallystick::record {

namespace {

using FactMembers = mirror::MembersOf<Fact>;

const std::string& select_list() {
  static const std::string list = [] {
    std::string out = "seq, n";
    for (const auto name : fact_column_names()) out += ", \"" + std::string(name) + "\"";
    return out;
  }();
  return list;
}

/// That `name`'s row lies on the path.
std::string on_path(const std::vector<Segment>& path, const std::string& name) {
  std::string sql = "(";
  for (std::size_t index = 0; index < path.size(); ++index)
    sql += std::string(index == 0 ? "" : " OR ") + "(" + name + ".branch = " + std::to_string(path[index].number) +
           " AND " + name + ".seq <= " + std::to_string(path[index].last) + ")";
  return sql + ")";
}

/// A later fact of the path ends `name`, a mark.
std::string ended(const std::vector<Segment>& path, const std::string& name) {
  return "EXISTS(SELECT 1 FROM fact AS ended WHERE ended.overrules = (SELECT journal FROM branch WHERE number = " + name +
         ".branch) || '-' || " + name + ".seq || '/' || " + name + ".n AND ended.overrules <> '' AND " + on_path(path, "ended") + ")";
}

std::string names_this(const std::string& name, const Segment& segment) {
  return name + ".overrules = '" + segment.journal + "-' || fact.seq || '/' || fact.n AND " + name + ".overrules <> ''";
}

/// Facts that a later fact of the path overrules are left out. A suspect mark that has ended overrules nothing.
std::string not_overruled(const std::vector<Segment>& path, const Segment& segment) {
  return " AND NOT EXISTS(SELECT 1 FROM fact AS later WHERE " + names_this("later", segment) + " AND " + on_path(path, "later") +
         " AND NOT (later.kind = 'mark' AND later.verdict = 'suspect' AND " + ended(path, "later") + "))";
}

/// Only facts on which a suspect mark stands.
std::string stands_suspect(const std::vector<Segment>& path, const Segment& segment) {
  return " AND EXISTS(SELECT 1 FROM fact AS mark WHERE " + names_this("mark", segment) +
         " AND mark.kind = 'mark' AND mark.verdict = 'suspect' AND " + on_path(path, "mark") + " AND NOT " + ended(path, "mark") + ")";
}

}  // namespace

const std::array<std::string_view, fact_columns>& fact_column_names() {
  static const auto names = [] {
    std::array<std::string_view, fact_columns> out;
    std::size_t index = 0;
    boost::mp11::mp_for_each<FactMembers>([&](auto member) { out[index++] = member.name; });
    return out;
  }();
  return names;
}

bool has_indexed_filter(const FactFilter& filter) {
  return !filter.lot.empty() || !filter.part.empty() || !filter.walk.empty();
}

bool has_filter(const FactFilter& f) {
  return has_indexed_filter(f) || !f.lot_name.empty() || !f.serial.empty() || !f.feature.empty() ||
         !f.kind.empty() || !f.gauge.empty() || !f.verdict.empty() || !f.from_utc.empty() || !f.to_utc.empty() || f.suspect;
}

FactQuery fact_query(const FactFilter& filter, View view, const std::vector<Segment>& path,
                     const Segment& segment, Route route, bool newest_first) {
  FactQuery out;
  out.sql = "SELECT " + select_list() + " FROM fact";
  if (route == Route::time) out.sql += " INDEXED BY fact_time";
  out.sql += newest_first ? " WHERE branch = ?1 AND (seq, n) < (?2, ?3) AND seq > ?4"
                          : " WHERE branch = ?1 AND (seq, n) > (?2, ?3) AND seq <= ?4";
  const auto add = [&](const char* column, const char* relation, const std::string& value) {
    if (value.empty()) return;
    out.texts.push_back(value);
    out.sql +=
        std::string(" AND \"") + column + "\" " + relation + " ?" + std::to_string(5 + out.texts.size());
  };
  // The partial indexes serve only where the query itself says that the text is not empty.
  const auto add_indexed = [&](const char* column, const std::string& value) {
    if (value.empty()) return;
    add(column, "=", value);
    out.sql += std::string(" AND \"") + column + "\" <> ''";
  };
  add_indexed("lot", filter.lot);
  add_indexed("part", filter.part);
  add_indexed("walk", filter.walk);
  add("lot_name", "=", filter.lot_name);
  add("serial", "=", filter.serial);
  add("feature", "=", filter.feature);
  add("kind", "=", filter.kind);
  add("gauge", "=", filter.gauge);
  add("verdict", "=", filter.verdict);
  add("measured_utc", ">=", filter.from_utc);
  add("measured_utc", "<", filter.to_utc);
  if (view == View::as_of_now && !filter.suspect) out.sql += not_overruled(path, segment);
  if (filter.suspect) out.sql += stands_suspect(path, segment);
  out.sql += newest_first ? " ORDER BY seq DESC, n DESC LIMIT ?5" : " ORDER BY seq, n LIMIT ?5";
  return out;
}

std::string mark_state_sql(const std::vector<Segment>& path) {
  return "SELECT coalesce(max(CASE WHEN " + ended(path, "mark") + " THEN 1 ELSE 2 END), 0) FROM fact AS mark WHERE mark.overrules = ?1"
         " AND mark.overrules <> '' AND mark.kind = 'mark' AND mark.verdict = 'suspect' AND " + on_path(path, "mark");
}

Fact fact_of(const Statement& row) {
  Fact out;
  int column = 1;
  boost::mp11::mp_for_each<FactMembers>([&](auto member) {
    auto& value = out.*member.pointer;
    using Value = std::remove_cvref_t<decltype(value)>;
    ++column;
    if constexpr (std::is_same_v<Value, std::string>)
      value = std::string(row.text(column));
    else
      value = static_cast<Value>(row.integer(column));
  });
  return out;
}

}  // namespace tallystick::record
