#include <doctest/doctest.h>

#include <set>

#include "daemon/record/fact_query.hpp"
#include "tests/record/record_fixture.hpp"

using namespace tallystick;
using namespace tallystick::record;
using namespace tallystick::record::test;

namespace {

std::unique_ptr<Reader> reader_of(const Place& place) {
  auto reader = Reader::open(place);
  REQUIRE(reader);
  return std::move(*reader);
}

/// All facts by pages; the pages' size shows in `pages`.
std::vector<FactRow> all_pages(Reader& reader, const FactFilter& filter, std::size_t limit,
                               View view = View::all) {
  std::vector<FactRow> out;
  Cursor cursor;
  for (;;) {
    auto page = reader.facts_after(cursor, filter, limit, view);
    REQUIRE(page);
    REQUIRE(page->rows.size() <= limit);
    for (auto& row : page->rows) out.push_back(std::move(row));
    // What goes over the network is the text.
    auto again = cursor_from(text(page->next));
    REQUIRE(again);
    CHECK(*again == page->next);
    cursor = *again;
    if (!page->more) return out;
  }
}

std::string key_of(const FactRow& row) { return fact_key(row.event, row.n); }

}  // namespace

TEST_CASE("a cursor's text is read back, and nothing else is a cursor") {
  const std::string id(32, 'a');
  for (const Cursor& cursor :
       {Cursor{}, Cursor{id, 0, 0}, Cursor{id, 7, 3}, Cursor{id, 123456789012, 0x7fffffff}}) {
    const auto again = cursor_from(text(cursor));
    REQUIRE(again);
    CHECK(*again == cursor);
  }
  for (const std::string& wrong :
       {std::string("c1"), std::string("c1-"), "c1-" + id, "c1-" + id + "-1", "c1-" + id + "-0-1",
        "c1-" + id + "-1-", "c1-" + id + "-1-x", "c2-" + id + "-1-1", "c1-" + id + "-1-99999999999",
        std::string("' OR 1=1")}) {
    const auto cursor = cursor_from(wrong);
    CHECK_MESSAGE(!cursor, wrong);
    if (!cursor) CHECK(cursor.error().code == "not_a_cursor");
  }
}

TEST_CASE("pages of any size give the same facts, in order, each once") {
  const Folder folder;
  std::vector<Proposal> sent;
  std::vector<Fact> facts;
  for (int number = 1; number <= 60; ++number) {
    std::vector<Fact> some;
    for (int count = 0; count < number % 4; ++count) some.push_back(fact(number * 10 + count));
    for (const auto& one : some) facts.push_back(one);
    sent.push_back(proposal(number, some));
  }
  write_events(opening(folder.place()), sent);
  auto reader = reader_of(folder.place());
  for (const std::size_t limit : {1U, 2U, 3U, 7U, 50U, 1000U}) {
    const auto rows = all_pages(*reader, {}, limit);
    REQUIRE(rows.size() == facts.size());
    for (std::size_t index = 0; index < rows.size(); ++index) REQUIRE(rows[index].fact == facts[index]);
  }
  const auto third = reader->fact(all_pages(*reader, {}, 100)[4].event, 3);
  REQUIRE(third);
  CHECK(third->has_value());
}

TEST_CASE("facts that come while pages are read are given later, none twice and none left out") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  auto reader = reader_of(folder.place());
  std::set<std::string> seen;
  Cursor cursor;
  std::size_t submitted = 0, read = 0;
  for (int round = 0; round < 20; ++round) {
    for (int count = 0; count < 13; ++count)
      writer->submit(proposal(static_cast<int>(++submitted)), desk.answer());
    REQUIRE(desk.wait_for(submitted));
    auto page = reader->facts_after(cursor, {}, 7);
    REQUIRE(page);
    for (const auto& row : page->rows) {
      CHECK(row.fact.serial == std::to_string(++read));
      CHECK(seen.insert(key_of(row)).second);
    }
    cursor = page->next;
  }
  for (bool more = true; more;) {
    auto page = reader->facts_after(cursor, {}, 50);
    REQUIRE(page);
    for (const auto& row : page->rows) CHECK(row.fact.serial == std::to_string(++read));
    cursor = page->next;
    more = page->more;
  }
  CHECK(read == submitted);
  writer->submit(proposal(999), desk.answer());
  REQUIRE(desk.wait_for(submitted + 1));
  auto later = reader->facts_after(cursor, {}, 50);
  REQUIRE(later);
  REQUIRE(later->rows.size() == 1);
  CHECK(later->rows[0].fact.serial == "999");
  writer->stop();
}

TEST_CASE("filters give exactly the facts that a plain search gives, with and without an index") {
  const Folder folder;
  const std::string lots[] = {std::string(32, 'b') + "-1", std::string(32, 'b') + "-2"};
  std::vector<Proposal> sent;
  std::vector<Fact> facts;
  for (int number = 1; number <= 200; ++number) {
    auto one = fact(number);
    one.lot = lots[number % 2];
    one.lot_name = number % 2 == 0 ? "FB-25 even" : "FB-25 odd";
    one.part = number % 3 == 0 ? std::string(32, 'c') + "-" + std::to_string(number % 9 + 1) : "";
    one.serial = std::to_string(number % 11);
    one.walk = number % 5 == 0 ? std::string(32, 'd') + "-5" : "";
    one.feature = number % 2 == 0 ? "bore" : "length";
    one.gauge = number % 4 == 0 ? "caliper" : "bore-gauge-25";
    one.kind = number % 50 == 0 ? "mark" : "result";
    facts.push_back(one);
    sent.push_back(proposal(number, {one}));
  }
  write_events(opening(folder.place()), sent);
  auto reader = reader_of(folder.place());
  std::vector<FactFilter> filters(11);
  filters[0].lot = lots[1];
  filters[1].part = std::string(32, 'c') + "-4";
  filters[2].walk = std::string(32, 'd') + "-5";
  filters[3].serial = "7";
  filters[4].lot_name = "FB-25 odd";
  filters[4].serial = "3";
  filters[5].feature = "length";
  filters[5].lot = lots[1];
  filters[6].from_utc = utc_text(stamp(50).utc_us);
  filters[6].to_utc = utc_text(stamp(61).utc_us);
  filters[7].to_utc = utc_text(stamp(20).utc_us);
  filters[8].kind = "mark";
  filters[9].gauge = "caliper";
  filters[9].from_utc = utc_text(stamp(100).utc_us);
  filters[10].lot = "no such lot";
  std::size_t number = 0;
  for (const auto& f : filters) {
    CAPTURE(number);
    ++number;
    std::vector<Fact> expected;
    for (const auto& one : facts) {
      const bool fits =
          (f.lot.empty() || f.lot == one.lot) && (f.part.empty() || f.part == one.part) &&
          (f.walk.empty() || f.walk == one.walk) && (f.serial.empty() || f.serial == one.serial) &&
          (f.lot_name.empty() || f.lot_name == one.lot_name) && (f.kind.empty() || f.kind == one.kind) &&
          (f.feature.empty() || f.feature == one.feature) && (f.gauge.empty() || f.gauge == one.gauge) &&
          (f.from_utc.empty() || one.measured_utc >= f.from_utc) &&
          (f.to_utc.empty() || one.measured_utc < f.to_utc);
      if (fits) expected.push_back(one);
    }
    if (number < filters.size()) CHECK(!expected.empty());
    const auto rows = all_pages(*reader, f, 3);
    REQUIRE(rows.size() == expected.size());
    for (std::size_t index = 0; index < rows.size(); ++index) CHECK(rows[index].fact == expected[index]);
    const auto last = reader->last_fact(f);
    REQUIRE(last);
    CHECK(last->has_value() == !expected.empty());
    if (*last) CHECK((*last)->fact == expected.back());
  }
}

TEST_CASE("as of now leaves out what a later fact overrules, and all shows everything") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  writer->submit(proposal(1, {fact(1), fact(2)}), desk.answer());
  REQUIRE(desk.wait_for(1));
  auto mark = fact(2);
  mark.kind = "mark";
  mark.verdict = "suspect";
  mark.overrules = fact_key(desk.keys[0], 2);
  writer->submit(proposal(2, {mark}), desk.answer());
  REQUIRE(desk.wait_for(2));
  const std::vector<std::string> both = {fact_key(desk.keys[0], 1), fact_key(desk.keys[0], 2)};
  FactFilter suspect;
  suspect.suspect = true;
  {
    auto meanwhile = reader_of(folder.place());
    const auto now = all_pages(*meanwhile, {}, 2, View::as_of_now);
    REQUIRE(now.size() == 2);
    CHECK(now[0].fact == fact(1));
    CHECK(now[1].fact == mark);
    const auto stands = all_pages(*meanwhile, suspect, 2);
    REQUIRE(stands.size() == 1);
    CHECK(stands[0].fact == fact(2));
    CHECK(all_pages(*meanwhile, suspect, 2, View::as_of_now).size() == 1);
    CHECK(meanwhile->facts_before({}, suspect, 5)->rows.size() == 1);
    CHECK(*meanwhile->mark_states(both) == std::vector<std::string>{"", "suspect"});
  }
  auto cleared = mark;
  cleared.verdict = "cleared";
  cleared.overrules = fact_key(desk.keys[1], 1);
  writer->submit(proposal(3, {cleared, fact(3)}), desk.answer());
  REQUIRE(desk.wait_for(3));
  writer->stop();
  auto reader = reader_of(folder.place());
  CHECK(all_pages(*reader, {}, 2).size() == 5);
  const auto now = all_pages(*reader, {}, 2, View::as_of_now);
  REQUIRE(now.size() == 4);
  CHECK(now[0].fact == fact(1));
  CHECK(now[1].fact == fact(2));  // its mark has ended: it stands again
  CHECK(now[2].fact == cleared);
  CHECK(now[3].fact == fact(3));
  CHECK(all_pages(*reader, suspect, 2).empty());
  CHECK(*reader->mark_states(both) == std::vector<std::string>{"", "cleared"});
}

TEST_CASE("raw rows are the facts' columns as text") {
  const Folder folder;
  write_events(opening(folder.place()), 7, 3);
  auto reader = reader_of(folder.place());
  std::vector<std::string> again;
  std::size_t value_column = 0, flag_column = 0, number_column = 0;
  for (std::size_t index = 0; index < fact_columns; ++index) {
    if (fact_column_names()[index] == "value") value_column = index;
    if (fact_column_names()[index] == "measured_again") flag_column = index;
    if (fact_column_names()[index] == "edition_number") number_column = index;
  }
  const auto swept = reader->sweep_facts({}, {}, 2, View::all, [&](const RawFact& raw) {
    again.push_back(std::string(raw.column(value_column)) + " " + std::string(raw.column(flag_column)) + " " +
                    std::string(raw.column(number_column)) + " " + std::to_string(raw.seq()));
    return true;
  });
  REQUIRE(swept);
  CHECK(swept->rows == 2);
  CHECK(swept->more);
  CHECK(again == std::vector<std::string>{fact(7).value + " 1 3 2", fact(8).value + " 0 3 3"});
}

TEST_CASE("the events of a walk are the one that began it and those that name it") {
  const Folder folder;
  auto journal = Journal::open(opening(folder.place()));
  REQUIRE(journal);
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  writer->submit(proposal(1), desk.answer());
  writer->submit(proposal(2), desk.answer());
  REQUIRE(desk.wait_for(2));
  for (int number = 3; number <= 10; ++number) {
    auto one = proposal(number);
    if (number % 2 == 0) one.walk = text(desk.keys[1]);
    writer->submit(one, desk.answer());
  }
  REQUIRE(desk.wait_for(10));
  writer->stop();
  auto reader = reader_of(folder.place());
  std::vector<std::string> inputs;
  Cursor cursor;
  for (bool more = true; more;) {
    auto page = reader->events_of_walk(text(desk.keys[1]), cursor, 2);
    REQUIRE(page);
    for (const auto& event : page->events) inputs.push_back(event.content.input);
    cursor = page->next;
    more = page->more;
  }
  CHECK(inputs == std::vector<std::string>{proposal(2).input, proposal(4).input, proposal(6).input,
                                           proposal(8).input, proposal(10).input});
}

TEST_CASE("cursors that are not of this record say how to go on") {
  const Folder folder;
  const auto keys = write_events(opening(folder.place()), 1, 2);
  auto reader = reader_of(folder.place());
  const auto unknown = reader->facts_after({std::string(32, 'f'), 1, 0}, {}, 10);
  REQUIRE_FALSE(unknown);
  CHECK(unknown.error().code == "unknown_cursor");
  const auto early = reader->facts_after({keys[0].journal, 50, 0}, {}, 10);
  REQUIRE_FALSE(early);
  CHECK(early.error().code == "unknown_cursor");
  const auto end = reader->end();
  REQUIRE(end);
  const auto nothing = reader->facts_after(*end, {}, 10);
  REQUIRE(nothing);
  CHECK(nothing->rows.empty());
}

TEST_CASE("no page of facts or events is sorted anew: each goes along an index, in order") {
  const Folder folder;
  write_events(opening(folder.place()), 1, 50);
  auto connection = Connection::open(folder.place().journal(), Connection::Mode::read_only, "");
  REQUIRE(connection);
  const auto path = current_path(*connection);
  REQUIRE(path);
  std::vector<FactFilter> filters(5);
  filters[1].lot = filters[2].part = filters[3].walk = "x";
  filters[4].serial = "7";
  const char* indexes[] = {"sqlite_autoindex_fact_1", "fact_lot", "fact_part", "fact_walk", "sqlite_autoindex_fact_1"};
  for (std::size_t index = 0; index < filters.size(); ++index) {
    for (const View view : {View::all, View::as_of_now}) {
      CAPTURE(index);
      const auto route = has_indexed_filter(filters[index]) ? Route::indexed : Route::key;
      const auto query = fact_query(filters[index], view, *path, path->back(), route);
      Statement plan(*connection, "EXPLAIN QUERY PLAN " + query.sql);
      REQUIRE(plan.ready());
      std::string words;
      while (plan.row()) words += std::string(plan.text(3)) + "\n";
      CHECK_MESSAGE(words.find("TEMP B-TREE") == std::string::npos, words);
      CHECK_MESSAGE(words.find(indexes[index]) != std::string::npos, words);
      if (view == View::as_of_now) CHECK_MESSAGE(words.find("fact_overrules") != std::string::npos, words);
    }
  }
}
