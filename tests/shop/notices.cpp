// Notices stay until they are cleared with a name, and return when they recur.
#include <doctest/doctest.h>

#include "daemon/shop/notices.hpp"

using namespace tallystick::shop;

namespace {

const Condition lost{"warning", "lost", "port bore-gauge", "its node is gone", "put the plug in again"};
const Condition late{"warning", "clock_not_synchronised", "clock", "for 61 minutes", "look at the network"};

std::string at(int second) { return "2026-11-25T09:00:0" + std::to_string(second) + ".000000Z"; }

}  // namespace

TEST_CASE("notices: what has ended stays until somebody clears it") {
  Notices board;
  CHECK(board.stand("ports", {lost}, at(0)));
  CHECK(!board.stand("ports", {lost}, at(1)));
  CHECK(board.stand("ports", {}, at(2)));
  REQUIRE(board.all().size() == 1);
  CHECK(!board.all()[0].standing);
  CHECK(board.all()[0].cleared_by.empty());
  CHECK(board.all()[0].hint == lost.hint);
  const auto cleared = board.clear(board.all()[0].id, "R. Field", at(3));
  REQUIRE(cleared);
  CHECK(cleared->cleared_by == "R. Field");
  CHECK(cleared->cleared_utc == at(3));
}

TEST_CASE("notices: a cleared one returns when it comes again, and counts") {
  Notices board;
  board.stand("ports", {lost}, at(0));
  const auto id = board.all()[0].id;
  REQUIRE(board.clear(id, "R. Field", at(1)));
  board.stand("ports", {lost}, at(2));                 // it never ended: still cleared
  CHECK(board.all()[0].cleared_by == "R. Field");
  board.stand("ports", {}, at(3));
  CHECK(board.all()[0].cleared_by == "R. Field");
  board.stand("ports", {lost}, at(4));
  CHECK(board.all()[0].cleared_by.empty());
  CHECK(board.all()[0].count == 2);
  CHECK(board.all()[0].first_utc == at(0));
  CHECK(board.all()[0].last_utc == at(4));
  CHECK(board.all()[0].id == id);
}

TEST_CASE("notices: no clearing without a name, twice, or of what is not there") {
  Notices board;
  board.stand("ports", {lost}, at(0));
  const auto id = board.all()[0].id;
  CHECK(board.clear(id, "", at(1)).error().code == "wrong_shape");
  REQUIRE(board.clear(id, "R. Field", at(1)));
  CHECK(board.clear(id, "M. Lind", at(2)).error().code == "not_now");
  CHECK(board.clear("0123", "M. Lind", at(2)).error().code == "unknown_notice");
}

TEST_CASE("notices: sources do not end each other's") {
  Notices board;
  board.stand("ports", {lost}, at(0));
  board.stand("clock", {late}, at(0));
  board.stand("clock", {}, at(1));
  for (const auto& notice : board.all()) CHECK(notice.standing == (notice.source == "ports"));
}

TEST_CASE("notices: a restart keeps them, and what still stands comes again") {
  Notices board;
  board.stand("ports", {lost}, at(0));
  board.stand("clock", {late}, at(0));
  for (const auto& notice : board.all()) REQUIRE(board.clear(notice.id, "R. Field", at(1)));
  Notices after;
  REQUIRE(after.load(board.to_json_text()));
  after.stand("ports", {lost}, at(5));
  REQUIRE(after.all().size() == 2);
  CHECK(after.all()[0].code == "lost");
  CHECK(after.all()[0].cleared_by.empty());
  CHECK(after.all()[1].cleared_by == "R. Field");
  CHECK(!after.load("nonsense"));
}

TEST_CASE("notices: bounded, and what is not cleared outlives what is") {
  Notices board;
  board.stand("ports", {lost}, at(0));
  board.stand("ports", {}, at(0));
  for (int n = 0; n < 600; ++n) {
    auto one = late;
    one.where = std::to_string(n);
    board.stand("clock", {one}, at(1));
    for (const auto& notice : board.all())
      if (notice.source == "clock" && notice.cleared_by.empty()) REQUIRE(board.clear(notice.id, "R. Field", at(2)));
  }
  CHECK(board.all().size() == Notices::most);
  CHECK(board.all()[0].code == "lost");
}
