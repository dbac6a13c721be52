#include "daemon/checklist/size_table.hpp"

#include <doctest/doctest.h>
#include <rapidcheck.h>

using namespace tallystick;
using namespace tallystick::checklist;

namespace {

std::vector<Fault> faults_of(const char* csv) {
  std::vector<Fault> faults;
  read_size_table(csv, "sizes.csv", faults);
  return faults;
}

}  // namespace

TEST_CASE("rows know the line where they begin, also behind a field with line breaks") {
  const auto rows = read_csv("a,b\r\n\"x\r\ny\",2\r\n3,4");
  REQUIRE(rows);
  REQUIRE(rows->size() == 3);
  CHECK((*rows)[1].line == 2);
  CHECK((*rows)[1].fields[0] == "x\r\ny");
  CHECK((*rows)[2].line == 4);
}

TEST_CASE("malformed CSV is refused with its line") {
  CHECK(read_csv("a\nb\"c\n").error().where == "2");
  CHECK(read_csv("a\n\"b\"c\n").error().what == "text after a closing quote");
  CHECK(read_csv("a\n\"b\nc\n").error().where == "2");
  CHECK(read_csv("a\rb\n").error().code == "csv");
  CHECK(read_csv(std::string_view("a\0b", 3)).error().code == "csv");
}

TEST_CASE("what csv_line writes, read_csv reads back") {
  CHECK(rc::check([](const std::vector<std::string>& given) {
    RC_PRE(!given.empty());
    std::vector<std::string> fields;
    for (auto field : given) {
      std::erase(field, '\0');
      fields.push_back(field);
    }
    // A bare CR cannot stand outside quotes and is written inside them; an only empty field is an empty line.
    const auto rows = read_csv(csv_line(fields, "\r\n"));
    RC_ASSERT(rows.has_value());
    RC_ASSERT(rows->size() == 1U);
    auto expected = fields;
    if (expected.front().starts_with("\xEF\xBB\xBF")) expected.front().erase(0, 3);
    RC_ASSERT(rows->front().fields == expected);
  }));
}

TEST_CASE("a size table needs its key columns, and says which is meant") {
  const auto faults = faults_of("size,print_revison,part_number\nS-1,A,P\n");
  REQUIRE_FALSE(faults.empty());
  CHECK(faults[0].line == 1);
  CHECK(faults[0].code == "missing_column");
  CHECK(faults[0].remedy.find("print_revison") != std::string::npos);
}

TEST_CASE("every fault of a size table at once, each with its line") {
  const auto faults = faults_of(
      "size,print_revision,part_number,bore\n"
      "S-1,A,P-1,25\n"
      "S-1,A,P-1,25\n"   // 3: the same size and revision again
      "s-1,B,P-1,25\n"   // 4: differs in case only
      "S-2,A,P-2\n"      // 5: a field too few
      "S 3,A,P-3,25\n"   // 6: no size
      "S-4,,P-4,25\n"    // 7: no revision
      "S-5,A,P-5, 25\n"  // 8: blanks
      "\n"               // 9: empty
      "S-6,B,P-6,30\n");
  std::vector<std::pair<int, std::string>> found;
  for (const auto& fault : faults) found.emplace_back(fault.line, fault.code);
  CHECK(found == std::vector<std::pair<int, std::string>>{{3, "double_size"},
                                                          {4, "double_size"},
                                                          {5, "row_width"},
                                                          {6, "size_name"},
                                                          {7, "empty_cell"},
                                                          {8, "blanks"},
                                                          {9, "row_width"}});
  std::vector<Fault> again;
  CHECK(read_size_table("size,print_revision,part_number\nS-1,A,P\nS-1,B,P\n", "x", again).rows.size() == 2);
  CHECK(again.empty());
}

TEST_CASE("columns stand once and are spelled plainly; a table without rows is told") {
  CHECK(faults_of("size,print_revision,part_number,bore,bore\nS,A,P,1,2\n").at(0).code == "double_column");
  CHECK(faults_of("size,print_revision,part_number,Bore\nS,A,P,1\n").at(0).code == "column_name");
  CHECK(faults_of("size,print_revision,part_number\n").at(0).code == "no_sizes");
  CHECK(faults_of("").at(0).code == "empty_table");
}
