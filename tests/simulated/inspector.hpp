// A person at a bench of the simulated shop: looks at the screen, takes the part and the gauge, presses; makes the
// mistakes that people make. Knows the desk by its door alone and the parts as they really are.
#pragma once

#include "tests/simulated/house.hpp"

namespace tallystick::simulated {

class Inspector {
 public:
  Inspector(House& house, const Scenario& scenario, int number);
  /// Looks and does one thing. `calm`: without mistakes, so that the work gets done.
  void act(bool calm);
  /// A gauge that was asked replies with what it measures now.
  void reply(const std::string& gauge);
  /// Presses although nothing stands on a screen.
  void press_blindly();
  const std::string& bench() const { return bench_; }
  bool finished() const { return finished_; }

 private:
  void step(const json::value& screen, bool calm);
  bool blunder(const json::value& screen);
  void measure(const json::value& screen, bool calm);
  void answer_hold(const json::value& screen, bool calm);
  void lift(const json::value& screen);
  void set_gauge(const json::value& screen, const std::string& gauge, bool calm);
  void idle(const json::value& screen);
  void resumed(const json::value& screen, bool calm);
  void rare(const json::value& screen);

  void send(const json::value& screen, const std::string& kind, json::object body = {});
  void action(const json::value& screen, const std::string& action, const std::string& reason = "");
  /// The gauge that the screen names, on the part and place that it names.
  Sent honest(const json::value& screen);
  std::string own(const std::string& gauge_kind) const;
  void give(Sent sent, bool calm);
  std::int64_t serial(const json::value& screen) const;

  House& house_;
  const Scenario& scenario_;
  std::string bench_, number_, person_;
  bool finished_ = false, dirty_ = false;
  int sent_commands_ = 0;
  walk::Command last_command_;
};

}  // namespace tallystick::simulated
