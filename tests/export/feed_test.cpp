#include <doctest/doctest.h>
#include <malloc.h>

#include <boost/json.hpp>
#include <cstdlib>
#include <iostream>

#include "daemon/export/columns.hpp"
#include "daemon/export/csv.hpp"
#include "daemon/export/feed.hpp"
#include "daemon/export/routes.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "tests/export/rfc4180_reader.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::exporting;
using exporting::test::read_rfc4180;
using record::test::Folder;
using record::test::opening;
using record::test::write_events;

namespace {

using Query = std::map<std::string, std::string>;

struct Given {
  std::string bytes;
  std::string cursor;
  std::uint64_t rows = 0;
};

std::unique_ptr<FactFeed> open_feed(const record::Place& place, const Query& query, Form form) {
  auto selection = selection_from(query);
  REQUIRE(selection);
  auto reader = record::Reader::open(place);
  REQUIRE(reader);
  auto feed = FactFeed::open(std::move(*reader), *selection, form);
  if (!feed) FAIL(text(feed.error()));
  return std::move(*feed);
}

Given give(const record::Place& place, const Query& query = {}, Form form = Form::csv) {
  const auto feed = open_feed(place, query, form);
  Given out;
  for (;;) {
    auto piece = feed->next();
    REQUIRE(piece);
    if (!*piece) break;
    CHECK_FALSE((*piece)->empty());
    out.bytes += **piece;
  }
  out.cursor = text(feed->go_on());
  out.rows = feed->rows();
  return out;
}

Error refused(const record::Place& place, const Query& query) {
  auto selection = selection_from(query);
  if (!selection) return selection.error();
  auto reader = record::Reader::open(place);
  REQUIRE(reader);
  auto feed = FactFeed::open(std::move(*reader), *selection, Form::csv);
  REQUIRE_FALSE(feed);
  return feed.error();
}

// The invented shop's facts, with texts that need care.
Fact awkward(int number) {
  Fact fact = record::test::fact(number);
  fact.lot_name = number % 2 == 0 ? "L-7" : "=L+8";
  fact.note = number % 3 == 0 ? "chip, \"deep\"\r\n-1+1; cleaned" : "";
  fact.feature_name = "bore \xc3\xb8 25";
  fact.by = number % 5 == 0 ? "-0.012" : "";
  fact.person = "@Robin";
  return fact;
}

std::vector<Key> write_awkward(const record::Place& place, int first, int count) {
  std::vector<Proposal> proposals;
  for (int number = first; number < first + count; ++number)
    proposals.push_back(number % 4 == 0
                            ? record::test::proposal(number, {awkward(number), awkward(number + 1000)})
                            : record::test::proposal(number, {awkward(number)}));
  return write_events(opening(place), proposals);
}

std::vector<std::string> lines(const std::string& text) {
  std::vector<std::string> out;
  for (std::size_t at = 0; at < text.size();) {
    const auto end = text.find('\n', at);
    REQUIRE(end != std::string::npos);
    out.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return out;
}

}  // namespace

TEST_CASE("what goes in comes out of both forms, exactly") {
  Folder folder;
  const auto place = folder.place();
  const auto keys = write_awkward(place, 1, 40);
  const auto csv = give(place);
  const auto jsonl = give(place, {}, Form::json_lines);
  const auto records = read_rfc4180(csv.bytes);
  const auto objects = lines(jsonl.bytes);
  std::vector<std::pair<Key, Fact>> expected;
  std::vector<std::uint64_t> counts;
  for (int number = 1; number <= 40; ++number) {
    expected.emplace_back(keys[static_cast<std::size_t>(number - 1)], awkward(number));
    counts.push_back(1);
    if (number % 4 != 0) continue;
    expected.emplace_back(keys[static_cast<std::size_t>(number - 1)], awkward(number + 1000));
    counts.push_back(2);
  }
  REQUIRE(records.size() == expected.size() + 1);
  REQUIRE(objects.size() == expected.size());
  CHECK(csv.rows == expected.size());
  for (std::size_t row = 0; row < expected.size(); ++row) {
    const auto& [key, fact] = expected[row];
    const auto& record = records[row + 1];
    REQUIRE(record.size() == record::fact_columns + key_columns);
    CHECK(plain(record[0]) == key.journal);
    CHECK(record[1] == std::to_string(key.seq));
    CHECK(record[2] == std::to_string(counts[row]));
    auto object = boost::json::parse(objects[row]).as_object();
    CHECK(object["seq"].as_int64() == static_cast<std::int64_t>(key.seq));
    const auto wanted = mirror::write(fact).as_object();
    for (std::size_t column = 0; column < record::fact_columns; ++column) {
      const auto name = record::fact_column_names()[column];
      CAPTURE(name);
      // The mirror leaves out what is empty; a column is always there.
      const auto* written = wanted.if_contains(name);
      const auto kind = fact_column_kinds()[column];
      const boost::json::value value = written                    ? *written
                                       : kind == ColumnKind::text ? boost::json::value("")
                                       : kind == ColumnKind::flag ? boost::json::value(false)
                                                                  : boost::json::value(0);
      CHECK(object[name] == value);
      const std::string cell = value.is_string() ? std::string(value.get_string())
                               : value.is_bool() ? (value.get_bool() ? "1" : "0")
                                                 : boost::json::serialize(value);
      CHECK(plain(record[column + key_columns]) == cell);
    }
  }
}

TEST_CASE("an empty record gives a header and a cursor that stays good") {
  Folder folder;
  const auto place = folder.place();
  write_events(opening(place), 1, 0);
  const auto nothing = give(place);
  CHECK(nothing.bytes == csv_header());
  CHECK(give(place, {}, Form::json_lines).bytes.empty());
  write_events(opening(place), 1, 3);
  CHECK(give(place, {{"after", nothing.cursor}}).rows == 3);
}

TEST_CASE("cursors are stable under what is written meanwhile, and give every fact once") {
  Folder folder;
  const auto place = folder.place();
  write_awkward(place, 1, 10);
  const auto all_until_now = give(place);
  write_awkward(place, 11, 10);
  const auto later = give(place, {{"after", all_until_now.cursor}});
  const auto whole = give(place);
  CHECK(all_until_now.bytes + later.bytes.substr(csv_header().size()) == whole.bytes);
  CHECK(give(place, {{"after", later.cursor}}).rows == 0);
  SUBCASE("the end stands fixed when the feed is opened") {
    const auto feed = open_feed(place, {}, Form::csv);
    write_awkward(place, 21, 5);
    std::string bytes;
    for (auto piece = feed->next(); piece && *piece; piece = feed->next()) bytes += **piece;
    CHECK(bytes == whole.bytes);
    CHECK(give(place, {{"after", text(feed->go_on())}}).rows == 6);
  }
  SUBCASE("a filter does not change what a cursor means") {
    const auto filtered = give(place, {{"lot", "L-7"}});
    CHECK(filtered.rows < whole.rows);
    CHECK(filtered.rows > 0);
    CHECK(filtered.cursor == whole.cursor);
  }
}

TEST_CASE("what was exported once is exported the same again, byte for byte") {
  Folder folder;
  const auto place = folder.place();
  write_awkward(place, 1, 25);
  const auto first = give(place);
  write_awkward(place, 26, 25);
  const auto second = give(place, {{"after", first.cursor}});
  write_awkward(place, 51, 5);
  for (const auto form : {Form::csv, Form::json_lines}) {
    const auto once = give(place, {{"after", first.cursor}, {"until", second.cursor}}, form);
    const auto again = give(place, {{"until", second.cursor}, {"after", first.cursor}}, form);
    CHECK(once.bytes == again.bytes);
    CHECK(once.cursor == second.cursor);
  }
  CHECK(give(place, {{"until", first.cursor}}).bytes == first.bytes);
  CHECK(give(place, {{"after", first.cursor}, {"until", second.cursor}}).bytes == second.bytes);
  CHECK(give(place, {{"after", first.cursor}, {"until", first.cursor}}).bytes == csv_header());
}

TEST_CASE("filters by lot, part, time and the rest") {
  Folder folder;
  const auto place = folder.place();
  write_awkward(place, 1, 20);
  const auto count = [&](const Query& query) { return give(place, query).rows; };
  CHECK(count({}) == 25);
  CHECK(count({{"lot", "L-7"}}) + count({{"lot", "=L+8"}}) == 25);
  CHECK(count({{"part", "7"}}) == 1);
  CHECK(count({{"serial", "7"}, {"lot", "L-7"}}) == 0);
  CHECK(count({{"feature", "bore"}, {"kind", "result"}}) == 25);
  CHECK(count({{"kind", "mark"}}) == 0);
  const auto from = utc_text(record::test::stamp(5).utc_us), to = utc_text(record::test::stamp(8).utc_us);
  CHECK(count({{"from", from}, {"to", to}}) == 3);
  CHECK(count({{"to", from}}) == 4);
}

TEST_CASE("parameters that cannot be understood are refused, with the remedy") {
  Folder folder;
  const auto place = folder.place();
  write_awkward(place, 1, 3);
  CHECK(refused(place, {{"lots", "x"}}).code == "unknown_parameter");
  CHECK(refused(place, {{"lots", "x"}}).hint.find("lot, part") != std::string::npos);
  CHECK(refused(place, {{"kind", "reading"}}).code == "wrong_parameter");
  CHECK(refused(place, {{"from", "yesterday"}}).code == "wrong_parameter");
  CHECK(refused(place, {{"from", "yesterday"}}).where == "from");
  CHECK(refused(place, {{"as_of_now", "perhaps"}}).code == "wrong_parameter");
  CHECK(refused(place, {{"after", "17"}}).code == "not_a_cursor");
  CHECK(refused(place, {{"until", "17"}}).code == "not_a_cursor");
  CHECK(refused(place, {{"after", "c1-0123456789abcdef0123456789abcdef-9-1"}}).code == "unknown_cursor");
  const auto first = give(place).cursor;
  write_awkward(place, 4, 3);
  const auto second = give(place).cursor;
  CHECK(refused(place, {{"after", second}, {"until", first}}).code == "wrong_parameter");
}

TEST_CASE("instants as people write them") {
  // ISO 8601 / RFC 3339, section 5.8 has the examples with an offset.
  CHECK(instant_from("2026-11-25").value() == "2026-11-25T00:00:00.000000Z");
  CHECK(instant_from("2026-11-25T07:31Z").value() == "2026-11-25T07:31:00.000000Z");
  CHECK(instant_from("2026-11-25T07:31:05.5Z").value() == "2026-11-25T07:31:05.500000Z");
  CHECK(instant_from("1985-04-12T23:20:50.52Z").value() == "1985-04-12T23:20:50.520000Z");
  CHECK(instant_from("1996-12-19T16:39:57-08:00").value() == "1996-12-20T00:39:57.000000Z");
  CHECK(instant_from("2026-11-25T00:30+01:00").value() == "2026-11-24T23:30:00.000000Z");
  for (const char* wrong :
       {"", "2026", "2026-13-01", "2026-02-29", "2026-11-25T25:00Z", "2026-11-25T07:31", "25.11.2026",
        "2026-11-25T07:31:05.Z", "2026-11-25T07:31Zjunk", "2026-11-25T07:31:05.1234567Z"}) {
    CAPTURE(wrong);
    CHECK_FALSE(instant_from(wrong));
  }
}

TEST_CASE("as of now leaves out what is overruled") {
  Folder folder;
  const auto place = folder.place();
  const auto keys = write_events(opening(place), 1, 4);
  Fact again = record::test::fact(2);
  again.overrules = record::fact_key(keys[1], 1);
  again.value = "25.013";
  write_events(opening(place), {record::test::proposal(5, {again})});
  CHECK(give(place).rows == 5);
  const auto now = give(place, {{"as_of_now", "true"}}, Form::json_lines);
  CHECK(now.rows == 4);
  const auto rows = lines(now.bytes);
  REQUIRE(rows.size() == 4);
  CHECK(boost::json::parse(rows[3]).at("value").as_string() == "25.013");
  for (const auto& row : rows)
    CHECK(boost::json::parse(row).at("seq").as_int64() != static_cast<std::int64_t>(keys[1].seq));
}

TEST_CASE("pieces stay small however many rows there are") {
  Folder folder;
  const auto place = folder.place();
  constexpr int many = 30000;
  write_events(opening(place), 1, many);
  const auto feed = open_feed(place, {}, Form::csv);
  std::uint64_t bytes = 0;
  std::size_t longest = 0, half_way = 0, most_after = 0;
  for (auto piece = feed->next(); piece && *piece; piece = feed->next()) {
    bytes += (*piece)->size();
    longest = std::max(longest, (*piece)->size());
    const auto used = mallinfo2().uordblks;
    if (feed->rows() < many / 2)
      half_way = std::max(half_way, used);
    else
      most_after = std::max(most_after, used);
  }
  CHECK(feed->rows() == many);
  CHECK(bytes > 20U * 192 * 1024);
  CHECK(longest < 256U * 1024);
#if defined(__SANITIZE_ADDRESS__)
  std::cout
      << "[skip] pieces stay small however many rows there are: the sanitizer's allocator cannot be asked\n";
#else
  CHECK(half_way > 0);
  CHECK(most_after < half_way + 64U * 1024);
#endif
}

TEST_CASE(
    "routes: headers carry the cursor, results come by pages, a cursor past a branch point is told the way "
    "on") {
  Folder folder;
  const auto place = folder.place();
  write_awkward(place, 1, 12);
  std::map<std::string, decltype(Route::handler)> by_path;
  for (auto& route : exporting::routes(place)) by_path[route.path] = route.handler;
  const auto header = [](const Answer& answer, const std::string& name) {
    for (const auto& [key, value] : answer.headers)
      if (key == name) return value;
    return std::string();
  };
  auto csv = by_path.at("/api/v1/export.csv")({{"lot", "=L+8"}});
  REQUIRE(csv);
  CHECK(csv->media_type == "text/csv; charset=utf-8; header=present");
  const auto cursor = header(*csv, "Tallystick-Cursor");
  CHECK(cursor == give(place).cursor);
  CHECK(header(*csv, "Link") == "</api/v1/export.csv?after=" + cursor + "&lot=%3DL%2B8>; rel=\"next\"");
  std::string bytes;
  while (auto piece = csv->pull()) bytes += *piece;
  CHECK(bytes == give(place, {{"lot", "=L+8"}}).bytes);

  auto end = by_path.at("/api/v1/export/cursor")({});
  REQUIRE(end);
  CHECK(boost::json::parse(end->body).at("cursor").as_string() == cursor);

  std::vector<std::string> seen;
  Query query{{"limit", "4"}};
  for (int page = 0; page < 10; ++page) {
    auto answer = by_path.at("/api/v1/results")(query);
    REQUIRE(answer);
    const auto object = boost::json::parse(answer->body).as_object();
    for (const auto& row : object.at("results").as_array()) seen.push_back(boost::json::serialize(row));
    query["after"] = std::string(object.at("cursor").as_string());
    if (!object.at("more").as_bool()) break;
  }
  std::vector<std::string> wanted;
  for (const auto& line : lines(give(place, {}, Form::json_lines).bytes))
    wanted.push_back(boost::json::serialize(boost::json::parse(line)));
  CHECK(seen == wanted);
  CHECK(by_path.at("/api/v1/results")({{"limit", "0"}}).error().error.code == "wrong_parameter");
  CHECK(by_path.at("/api/v1/results")({{"limit", "5001"}}).error().error.code == "wrong_parameter");
  CHECK(by_path.at("/api/v1/export/cursor")({{"x", ""}}).error().error.code == "unknown_parameter");

  // Another machine: a new branch from here on; then the copy of before, on which the old end is not to be
  // found.
  const auto copy = folder.place("restored");
  std::filesystem::copy(place.data, copy.data, std::filesystem::copy_options::recursive);
  const auto kept = give(copy).cursor;
  write_awkward(place, 13, 4);
  auto elsewhere = opening(copy);
  elsewhere.machine = "machine-b";
  write_events(elsewhere, 100, 2);
  for (auto& route : exporting::routes(copy)) by_path[route.path] = route.handler;
  auto gone = by_path.at("/api/v1/export.csv")({{"after", give(place).cursor}});
  REQUIRE_FALSE(gone);
  CHECK(gone.error().error.code == "past_branch_point");
  REQUIRE(gone.error().branch_point);
  const auto way_on = text(gone.error().branch_point->go_on);
  CHECK(give(copy, {{"after", way_on}}).rows == 2);
  CHECK(give(copy, {{"after", kept}}).rows == 2);
  CHECK(give(copy, {{"until", kept}}).bytes == give(copy, {{"until", way_on}}).bytes);
}

// Not a check of its own: test_read_back.py runs it to have a journal for the real command line and Python's
// csv.
TEST_CASE("write a journal for the readers outside" * doctest::skip()) {
  const char* folder = std::getenv("TALLYSTICK_JOURNAL");
  REQUIRE(folder != nullptr);
  write_awkward({std::string(folder) + "/data", std::string(folder) + "/head", ""}, 1, 300);
}
