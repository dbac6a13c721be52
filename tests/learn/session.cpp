// A sitting with one gauge: which settings it listens with next, what it asks for, what it drops.
#include "drivers/learn/session.hpp"

#include <doctest/doctest.h>

#include <map>

#include "tests/learn/shapes.hpp"
#include "tests/learn/wire.hpp"

using namespace tallystick;
using namespace tallystick::learn_tests;
using learn::Session;

namespace {

/// A person with a gauge in the hand: presses, and waits until the session is done with it.
struct Hand {
  Gauge gauge;
  Session& session;
  std::int64_t now_us = 1'000'000;

  bool press(const std::string& shown) {
    session.heard(heard(gauge.send(display_of(shown)), gauge.line, session.line()), now_us);
    now_us += 500'000;
    const bool ended = session.tick(now_us);
    now_us += 2'000'000;
    return ended;
  }
};

Gauge gauge_at(const char* line) {
  return {
      "",
      line_of(line),
      [](const Display& d) { return d.sign() + padded(d.whole(), 3, '0') + "." + d.decimals() + " mm\r\n"; },
      {},
      {}};
}

}  // namespace

TEST_CASE("a session finds the settings, asks, and is ready after two values") {
  // Heard with: what only listening cannot tell apart. Parity is not checked by the line, so odd passes for
  // even where the byte has eight bits; and one stop bit or two look alike to a receiver. The bytes are the
  // same.
  const std::map<std::string, std::string> lines{{"9600 8N1", "9600 8N1"},     {"4800 7E1", "4800 7E1"},
                                                 {"1200 7O1", "1200 7O1"},     {"2400 8E1", "2400 8E1"},
                                                 {"115200 8N1", "115200 8N1"}, {"300 8O1", "300 8E1"},
                                                 {"9600 7N1", "9600 7N2"},     {"19200 7N2", "19200 7N2"}};
  for (const auto& [line, heard_with] : lines) {
    Session session({}, {}, {});
    Hand hand{gauge_at(line.c_str()), session};
    int presses = 0;
    while (session.wants() == Session::Wants::press && presses < 45) {
      CHECK(hand.press("12.345 mm"));
      ++presses;
    }
    INFO(line, " after ", presses, " presses, at ", learn::settings_text(session.line()));
    REQUIRE(session.wants() == Session::Wants::shown);
    CHECK(presses <= 40);
    REQUIRE(session.shown("12.345 mm").has_value());
    CHECK(session.wants() == Session::Wants::other_value);
    REQUIRE(session.findings().missing.size() == 1);
    CHECK(session.findings().missing.front().code == "one_value");
    CHECK(hand.press("-3.070 mm"));
    REQUIRE(session.shown("-3.070 mm").has_value());
    REQUIRE(session.wants() == Session::Wants::ready);
    CHECK(learn::settings_text(session.findings().proposals.front().line) == heard_with);
  }
}

TEST_CASE("an answer that is no value is refused, a press can be forgotten") {
  Session session({}, {}, {});
  Hand hand{gauge_at("9600 8N1"), session};
  CHECK(session.shown("12.345 mm").error().code == "nothing_heard");
  CHECK(session.forget().error().code == "nothing_heard");
  hand.press("12.345 mm");
  CHECK(session.shown("twelve").error().code == "not_shown");
  CHECK(session.wants() == Session::Wants::shown);
  REQUIRE(session.forget().has_value());
  CHECK(session.wants() == Session::Wants::press);
  CHECK(session.recording().presses.empty());
}

TEST_CASE("bytes that come while an answer is waited for belong to no press") {
  Session session({}, {}, {});
  Hand hand{gauge_at("9600 8N1"), session};
  hand.press("12.345 mm");
  CHECK(!hand.press("99.999 mm"));
  REQUIRE(session.recording().presses.size() == 1);
  CHECK(session.last_bytes() == "+012.345 mm\r\n");
}

TEST_CASE("a gauge that sends all the time is cut, and waits for the person to hold another value still") {
  Session session({}, {}, {});
  std::int64_t now_us = 0;
  const auto stream = [&](const std::string& line, int frames) {
    for (int i = 0; i < frames && !session.tick(now_us); ++i, now_us += 100'000) session.heard(line, now_us);
  };
  stream("+012.345 mm\r\n", 40);
  REQUIRE(session.wants() == Session::Wants::shown);
  CHECK(session.held_back());
  REQUIRE(session.shown("12.345 mm").has_value());
  stream("+000.500 mm\r\n", 40);  // on its way to the other value: not listened to
  CHECK(session.recording().presses.size() == 1);
  session.listen();
  stream("-003.070 mm\r\n", 40);
  REQUIRE(session.shown("-3.070 mm").has_value());
  REQUIRE(session.wants() == Session::Wants::ready);
  CHECK(session.findings().proposals.front().toml.find("speaks = \"streams\"") != std::string::npos);
}

TEST_CASE("settings that a person chose are kept, and what is heard there is asked about, readable or not") {
  Session session({}, {}, learn::settings_of("9600 8N1"));
  session.heard(std::string("\xA5\x03\x01\x23\x45\xC1", 6), 1'000'000);
  CHECK(session.tick(2'000'000));
  CHECK(session.wants() == Session::Wants::shown);
  CHECK(!session.changed_settings());
}

TEST_CASE("a flood is bounded") {
  Session session({}, {}, {});
  const std::string piece(1000, 'x');
  for (int i = 0; i < 100; ++i) session.heard(piece, 1'000'000 + i);
  CHECK(session.last_bytes().size() <= 4096);
}
