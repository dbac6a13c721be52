// The desk with a journal, gauges, displays and a power switch, for the simulated shop. Only house.cpp knows the walk's
// own headers; inspectors and oracles see the desk through its door and the journal as plain entries.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "daemon/walk/desk_door.hpp"
#include "tests/simulated/scenario.hpp"

namespace tallystick::simulated {

namespace json = boost::json;

/// One event of the journal, as an outsider reads it.
struct Entry {
  std::string key, kind, bench, walk, lot, gauge, raw, boot;
  std::int64_t steady_ns = 0, utc_us = 0;
  json::object input, outcome;
};

/// What a gauge was used for, in truth: written down when it is pressed, and never told to the walk.
struct Sent {
  std::string gauge, value, bench, boot, feature;
  std::int64_t steady_ns = 0;
  std::int64_t serial = 0;         ///< part in the hand; 0: the master, or none of this lot
  int place = 0;
  bool frame_has_unit = true, streamed = false;
};

class House {
 public:
  explicit House(const Scenario& scenario);
  ~House();

  Dice dice;
  walk::DeskDoor& desk();
  Stamp now() const;
  void advance(double seconds);
  void step_clock(double seconds);

  // ---- gauges
  void press(Sent sent);                        ///< stamped now, offered at once
  Sent stamped(Sent sent) const;                ///< pressed now, offered later
  void offer(const Sent& sent);
  void refuse(const std::string& gauge, const std::string& bytes);
  void silence(const std::string& gauge, bool silent);
  void not_answered(const std::string& gauge);
  /// Gauges that the daemon asked since the last call.
  std::vector<std::string> take_asked();

  // ---- the writer
  void commit_some(double how_many);            ///< the share below one is thrown
  void commit_all();
  bool set_one_aside();                         ///< false: nothing waited
  std::size_t waiting() const;

  // ---- displays
  void display_comes(const std::string& bench);
  void display_goes(const std::string& bench);
  bool has_display(const std::string& bench) const;
  /// Writes the newest view to the display of a bench, and says so to the desk.
  void tell(const std::string& bench);
  /// What stands on the display (null: nothing yet).
  const json::value& screen(const std::string& bench) const;

  // ---- the daemon
  /// Power or daemon goes: of what the writer holds, the first few become durable unheard, the rest is lost.
  void restart(std::size_t kept_unheard, bool new_boot);
  void tick();
  void withdraw_and_publish();
  const std::vector<Entry>& journal();
  std::string states_text() const;
  std::string replayed_text() const;

  /// Commands by idempotency key, and whether an answer said that it was done.
  std::map<std::string, bool> commands;
  void command(walk::Command command, std::function<void(Expected<json::object>)> answered = {});

  std::vector<Sent> sent;
  std::map<std::string, int> counters;
  std::vector<std::string> complaints;          ///< of oracles that watch as it goes
  std::set<std::string> told_keys;              ///< of the last thing shown on a display since this start
  std::string lot;

 private:
  void watch_screen(const std::string& bench);
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

/// A member by path ("step.feature"); null, or "", where there is none.
json::value at(const json::value& from, std::string_view path);
std::string text_at(const json::value& from, std::string_view path);

}  // namespace tallystick::simulated
