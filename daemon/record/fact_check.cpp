#include "daemon/record/fact_check.hpp"

#include <boost/json.hpp>

#include "daemon/record/reader.hpp"

namespace tallystick::record {

namespace {

const std::string& select_all() {
  static const std::string sql = [] {
    std::string out = "SELECT seq, n";
    for (const auto name : fact_column_names()) out += ", \"" + std::string(name) + "\"";
    return out + " FROM fact WHERE branch = ? AND seq > ? ORDER BY seq, n";
  }();
  return sql;
}

/// A member that is absent stands for "" or 0.
bool same(const boost::json::value* member, const Statement& row, int column) {
  if (row.type(column) == SQLITE_TEXT) {
    const auto text = row.text(column);
    if (member == nullptr) return text.empty();
    return member->is_string() && std::string_view(member->get_string()) == text;
  }
  const auto number = row.integer(column);
  if (member == nullptr) return number == 0;
  if (const auto* flag = member->if_bool()) return number == (*flag ? 1 : 0);
  if (const auto* whole = member->if_int64()) return number == *whole;
  return false;
}

std::optional<std::string> difference(const boost::json::value& fact, const Statement& row) {
  const auto* object = fact.if_object();
  if (object == nullptr) return "a fact of the outcome is no object";
  std::size_t known = 0;
  int column = 1;
  for (const auto name : fact_column_names()) {
    const auto* member = object->if_contains(name);
    if (member != nullptr) ++known;
    if (!same(member, row, ++column)) return "its " + std::string(name) + " differs from the query table";
  }
  if (known != object->size()) return "it has members that the query table has no column for";
  return std::nullopt;
}

}  // namespace

FactCheck::FactCheck(const Connection& connection, std::int64_t branch, std::uint64_t after_seq)
    : rows_(connection, select_all()) {
  if (!rows_.ready()) return;
  rows_.bind(1, branch);
  rows_.bind(2, after_seq);
  next();
}

std::optional<std::string> FactCheck::compare(std::uint64_t seq, std::string_view outcome,
                                              std::uint64_t& facts) {
  boost::json::monotonic_resource memory(room_.data(), room_.size());
  boost::system::error_code code;
  std::optional<std::string> found;
  const auto value = boost::json::parse(outcome, code, &memory);
  const auto* object = code ? nullptr : value.if_object();
  const auto* member = object == nullptr ? nullptr : object->if_contains("facts");
  const boost::json::array none;
  const boost::json::array* named = &none;
  if (object == nullptr)
    found = "the outcome is no JSON object";
  else if (member != nullptr && !member->is_array())
    found = "the outcome's facts are no list";
  else if (member != nullptr)
    named = &member->get_array();
  std::uint64_t n = 0;
  for (; at(seq); next()) {
    ++facts;
    ++n;
    if (found) continue;
    if (static_cast<std::uint64_t>(rows_.integer(1)) != n || n > named->size())
      found = "the query table has a fact " + std::to_string(rows_.integer(1)) +
              " that the outcome does not have";
    else if (auto differs = difference((*named)[n - 1], rows_))
      found = "fact " + std::to_string(n) + ": " + *differs;
  }
  if (!found && n < named->size())
    found = "the query table lacks fact " + std::to_string(n + 1) + " of the outcome";
  return found;
}

std::optional<std::string> FactCheck::left_over() {
  if (!there_) return std::nullopt;
  return std::to_string(rows_.integer(0)) + "/" + std::to_string(rows_.integer(1));
}

}  // namespace tallystick::record
