#include "drivers/decode/replay_log.hpp"

#include <doctest/doctest.h>

using namespace tallystick;

namespace {
const std::string header = "dialect: d\nport: 9600 8N1\nshown: 1 mm\ndate: 2026-11-25\nsource: invented\n\n";
}

TEST_CASE("a replay log") {
  const auto log =
      read_replay_log("# remark\n" + header + "0 open\n# remark\n10 rx 31 0d\n\n20 tx 3F0D\n", "x.log");
  REQUIRE(log);
  CHECK(log->dialect == "d");
  CHECK(log->shown == "1 mm");
  REQUIRE(log->records.size() == 3);
  CHECK(log->records[1].at_us == 10);
  CHECK(log->records[1].bytes == "1\r");
  CHECK(log->records[2].kind == ReplayRecord::Kind::sent);
}

TEST_CASE("what is wrong with a replay log is told with its line, all at once") {
  const auto log = read_replay_log("dialect d\n" + header +
                                       "x rx 31\n5 rx 3\n5 up 31\n5 rx 31\n4 rx 31\n5 open 31\n-1 rx 31\n9 "
                                       "rx\n99999999999999999999 rx 31\n",
                                   "x.log");
  REQUIRE(!log);
  std::string lines;
  for (const auto& fault : log.error()) {
    CHECK(fault.code == "bad_replay_log");
    CHECK(!fault.hint.empty());
    lines += fault.where + " ";
  }
  CHECK(lines == "x.log:1 x.log:8 x.log:9 x.log:10 x.log:12 x.log:13 x.log:14 x.log:15 x.log:16 ");
  CHECK(!read_replay_log("dialect: d\n\n", "x.log"));
}

TEST_CASE("hex there and back") {
  CHECK(hex_text(std::string("\0\xff\x1f", 3)) == "00ff1f");
  CHECK(bytes_of_hex("00 FF 1f\n") == std::string("\0\xff\x1f", 3));
  CHECK(!bytes_of_hex("0"));
  CHECK(!bytes_of_hex("0 0"));
  CHECK(!bytes_of_hex("0g"));
}
