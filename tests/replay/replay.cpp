// Every log is fed whole, byte by byte, in seeded random splits, after garbage, and cut at every byte; and to
// every other dialect. TALLYSTICK_REWRITE_EXPECTED=1 writes the .expected files for review as a diff; without
// it a difference is a failure.
#include <doctest/doctest.h>

#include <cstdlib>
#include <fstream>
#include <random>
#include <set>

#include "tests/replay/logs.hpp"

using namespace tallystick;
using namespace tallystick::replay_tests;

namespace {

std::string bytes_received(const ReplayLog& log) {
  std::string out;
  for (const auto& record : log.records) {
    if (record.kind == ReplayRecord::Kind::received) out += record.bytes;
  }
  return out;
}

std::string bytes_of(const std::vector<DecodeEvent>& events) {
  std::string out;
  for (const auto& event : events) out += event.frame.bytes;
  return out;
}

const std::shared_ptr<const Dialect>& dialect_of(const Case& one) {
  const auto found = dialects().find(one.log.dialect);
  REQUIRE_MESSAGE(found != dialects().end(), one.path.string(), " names no dialect of config/dialects");
  return found->second;
}

/// The same log with every received record cut where `cut_after` says so (asked once a byte), times
/// unchanged.
template <class CutAfter>
ReplayLog split(const ReplayLog& log, CutAfter cut_after) {
  ReplayLog out = log;
  out.records.clear();
  for (const auto& record : log.records) {
    if (record.kind != ReplayRecord::Kind::received) {
      out.records.push_back(record);
      continue;
    }
    ReplayRecord piece{record.at_us, record.kind, {}};
    for (const char byte : record.bytes) {
      piece.bytes += byte;
      if (!cut_after()) continue;
      out.records.push_back(piece);
      piece.bytes.clear();
    }
    if (!piece.bytes.empty()) out.records.push_back(piece);
  }
  return out;
}

/// The log up to and with its n-th received byte.
ReplayLog cut_short(const ReplayLog& log, std::size_t bytes) {
  ReplayLog out = log;
  out.records.clear();
  for (const auto& record : log.records) {
    if (record.kind != ReplayRecord::Kind::received) {
      out.records.push_back(record);
      continue;
    }
    const std::size_t taken = std::min(bytes, record.bytes.size());
    if (taken > 0) out.records.push_back({record.at_us, record.kind, record.bytes.substr(0, taken)});
    bytes -= taken;
    if (bytes == 0) break;
  }
  return out;
}

bool is_subsequence(const std::vector<std::string>& part, const std::vector<std::string>& whole) {
  auto at = whole.begin();
  for (const auto& item : part) {
    at = std::find(at, whole.end(), item);
    if (at == whole.end()) return false;
    ++at;
  }
  return true;
}

}  // namespace

TEST_CASE("every dialect has a good log and at least two others") {
  std::map<std::string, std::set<std::string>> found;
  for (const auto& one : cases()) {
    CHECK_MESSAGE(one.path.parent_path().filename().string() == one.log.dialect, one.path.string());
    found[one.log.dialect].insert(one.path.stem().string());
  }
  for (const auto& [name, dialect] : dialects()) {
    CHECK_MESSAGE(found[name].count("good") == 1, name);
    CHECK_MESSAGE(found[name].count("cut") == 1, name);
    CHECK_MESSAGE(found[name].size() >= 3, name);
  }
}

TEST_CASE("fed whole, each log gives what is expected of it") {
  for (const auto& one : cases()) {
    const auto events = replay(one.log, dialect_of(one));
    const std::string found = lines(events);
    auto expected_path = one.path;
    expected_path.replace_extension(".expected");
    if (std::getenv("TALLYSTICK_REWRITE_EXPECTED") != nullptr) {
      std::ofstream(expected_path, std::ios::binary) << found;
      MESSAGE("rewritten: ", expected_path.string());
    }
    REQUIRE_MESSAGE(std::filesystem::exists(expected_path), expected_path.string());
    CHECK_MESSAGE(found == content_of(expected_path), one.name());
    if (one.path.stem() == "good") CHECK_MESSAGE(!readings(events).empty(), one.name());
  }
}

TEST_CASE("every byte lies in the frame of exactly one event, but for the warm-up") {
  for (const auto& one : cases()) {
    const auto dialect = dialect_of(one);
    const auto events = replay(one.log, dialect);
    const std::string in = bytes_received(one.log);
    const std::string out = bytes_of(events);
    if (dialect->port.warm_up.count() > 0) {
      CHECK_MESSAGE(in.ends_with(out), one.name());
      continue;
    }
    CHECK_MESSAGE(in == out, one.name());
    std::uint64_t at = 0;
    for (const auto& event : events) {
      CHECK_MESSAGE(event.frame.offset == at, one.name());
      at += event.frame.bytes.size();
      CHECK(event.frame.bytes.size() <= std::max<std::size_t>(dialect->framing.longest, 64));
    }
  }
}

TEST_CASE("byte by byte gives the same") {
  for (const auto& one : cases()) {
    const auto whole = lines(replay(one.log, dialect_of(one)));
    CHECK_MESSAGE(lines(replay(split(one.log, [] { return true; }), dialect_of(one))) == whole, one.name());
  }
}

TEST_CASE("50 random splits give the same") {
  for (const auto& one : cases()) {
    const auto whole = lines(replay(one.log, dialect_of(one)));
    for (unsigned seed = 1; seed <= 50; ++seed) {
      std::mt19937 random(seed);
      const auto cut = [&] { return random() % (1 + seed % 9) == 0; };
      CHECK_MESSAGE(lines(replay(split(one.log, cut), dialect_of(one))) == whole, one.name(), " seed ", seed);
    }
  }
}

TEST_CASE("after garbage and a silence nothing is lost; without the silence nothing is invented") {
  for (const auto& one : cases()) {
    const auto dialect = dialect_of(one);
    for (unsigned seed = 1; seed <= 50; ++seed) {
      std::mt19937 random(seed);
      std::string garbage(1 + random() % 80, '\0');
      for (auto& byte : garbage) byte = static_cast<char>(random() % 256);
      for (const std::int64_t silence_us : {std::int64_t{10'000'000}, std::int64_t{0}}) {
        ReplayLog log = one.log;
        // An `open` would make the decoder forget: leave it out, so that garbage and log meet.
        std::erase_if(log.records, [](const auto& r) { return r.kind == ReplayRecord::Kind::opened; });
        const auto without_open = readings(replay(log, dialect));
        const std::int64_t first = log.records.front().at_us;
        for (auto& record : log.records) record.at_us += silence_us;
        log.records.insert(log.records.begin(), {first, ReplayRecord::Kind::received, garbage});
        const auto events = replay(log, dialect);
        CHECK(bytes_of(events) == bytes_received(log));
        const auto found = readings(events);
        if (silence_us > 0)
          CHECK_MESSAGE(found == without_open, one.name(), " seed ", seed);
        else
          CHECK_MESSAGE(is_subsequence(found, without_open), one.name(), " seed ", seed);
        // What comes behind the first whole frame after the garbage is all there.
        if (without_open.size() >= 2)
          CHECK_MESSAGE(found.size() + 1 >= without_open.size(), one.name(), " seed ", seed);
      }
    }
  }
}

TEST_CASE("cut at every byte, no log gives a reading that it does not give whole") {
  for (const auto& one : cases()) {
    const auto dialect = dialect_of(one);
    const auto expected = readings(replay(one.log, dialect));
    const std::size_t size = bytes_received(one.log).size();
    std::size_t most = 0;
    for (std::size_t bytes = 0; bytes <= size; ++bytes) {
      const auto found = readings(replay(cut_short(one.log, bytes), dialect));
      REQUIRE_MESSAGE(found.size() <= expected.size(), one.name(), " cut at ", bytes);
      CHECK_MESSAGE(std::equal(found.begin(), found.end(), expected.begin()), one.name(), " cut at ", bytes);
      CHECK(found.size() >= most);
      most = found.size();
    }
    CHECK(most == expected.size());
  }
}

TEST_CASE(
    "with its beginning cut off at every byte after opening, no log gives a reading that it does not give "
    "whole") {
  for (const auto& one : cases()) {
    const auto dialect = dialect_of(one);
    if (dialect->port.warm_up.count() > 0) continue;
    const auto expected = readings(replay(one.log, dialect));
    const std::size_t size = bytes_received(one.log).size();
    for (std::size_t cut = 1; cut <= size; ++cut) {
      Decoder decoder(dialect);
      std::vector<DecodeEvent> events;
      std::size_t left = cut;
      bool open = false;
      for (const auto& record : one.log.records) {
        if (record.kind != ReplayRecord::Kind::received) continue;
        const std::size_t skipped = std::min(left, record.bytes.size());
        left -= skipped;
        const Stamp when = replay_stamp(record.at_us);
        if (!open && left == 0) decoder.opened(when);
        open = open || left == 0;
        for (auto& event : decoder.feed(std::string_view(record.bytes).substr(skipped), when))
          events.push_back(event);
      }
      CHECK_MESSAGE(is_subsequence(readings(events), expected), one.name(), " begun at ", cut);
    }
  }
}

TEST_CASE(
    "fed to every other dialect, no log gives a reading, except where the shapes are declared the same") {
  std::size_t pairs = 0, alike = 0;
  for (const auto& one : cases()) {
    const auto own = dialect_of(one);
    for (const auto& [name, other] : dialects()) {
      if (name == own->name) continue;
      const auto found = readings(replay(one.log, other));
      const bool same =
          std::find(own->same_shape_as.begin(), own->same_shape_as.end(), name) != own->same_shape_as.end();
      ++pairs;
      if (!same) {
        CHECK_MESSAGE(found.empty(), one.name(), " to ", name, ": ", found.empty() ? "" : found.front());
        continue;
      }
      ++alike;
      const auto& back = other->same_shape_as;
      CHECK_MESSAGE(std::find(back.begin(), back.end(), own->name) != back.end(), name, " does not declare ",
                    own->name);
      // Alike in what frames say; the port's own times (warm-up) may differ.
      if (own->port.warm_up == other->port.warm_up)
        CHECK_MESSAGE(found == readings(replay(one.log, own)), one.name(), " to ", name);
      else if (one.path.stem() == "good")
        CHECK_MESSAGE(found == readings(replay(one.log, own)), one.name(), " to ", name);
    }
  }
  CHECK(pairs > 500);
  CHECK(alike > 0);
}
