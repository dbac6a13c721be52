// The desk as a safe start shows it: everything can be looked at, nothing is taken.
#pragma once

#include <utility>

#include "daemon/walk/desk_door.hpp"

namespace tallystick {

/// `desk` outlives this. Commands are refused with "safe_start"; displays do not count, so no walk moves.
class SafeDoor final : public walk::DeskDoor {
 public:
  explicit SafeDoor(walk::DeskDoor& desk) : desk_(desk) {}

  void command(walk::Command command, walk::Answered answered) override {
    static_cast<void>(command);
    answered(fail("safe_start", "the daemon was started with --safe: no gauge is open and nothing is taken",
                  "", "start it without --safe to measure"));
  }
  std::vector<std::string> benches() const override { return desk_.benches(); }
  boost::json::value view(const std::string& bench) const override { return desk_.view(bench); }
  const walk::ViewText* view_text(const std::string& bench) const override { return desk_.view_text(bench); }
  boost::json::value list(const std::string& subject) const override { return desk_.list(subject); }
  void display_came(const std::string&, const std::string&) override {}
  void display_went(const std::string&, const std::string&) override {}
  void told(const std::string&, const std::string&, std::uint64_t, const Stamp&) override {}
  void on_view_changed(std::function<void(const std::string& bench)> changed) override {
    desk_.on_view_changed(std::move(changed));
  }

 private:
  walk::DeskDoor& desk_;
};

}  // namespace tallystick
