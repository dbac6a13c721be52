// How tallystickd is called: the daemon reads it, and the command line's generator makes the man page of it.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace tallystick {

struct CommandLine {
  std::string configuration = "/etc/tallystick";
  bool safe = false;
  int setup_port = 7411;

  static constexpr const char* name = "tallystickd";
  static constexpr const char* about =
      "Tallystick: takes values from gauges, judges them against the print, keeps them, gives them on.";
  static constexpr const char* exit_status =
      "Exit status: 0 after a stop that was asked for; 1 when it cannot start (the reason is said); 2 wrong "
      "usage.";

  /// `this` must outlive the parser.
  void declare(CLI::App& app) {
    app.add_option("--config", configuration, "tallystick.toml, or the folder that holds it")
        ->type_name("FILE")
        ->capture_default_str();
    app.add_flag("--safe", safe,
                 "Safe start: no gauge is opened and nothing is taken; pages, record and export can be read");
    app.add_option("--setup-port", setup_port,
                   "Where to listen while there is no configuration that says so")
        ->check(CLI::Range(0, 65535))
        ->type_name("PORT")
        ->capture_default_str();
    app.set_version_flag("--version", std::string("tallystickd ") + TALLYSTICK_VERSION,
                         "Tell the version and end");
    app.footer(std::string("SIGHUP reads the configuration anew (as `tallystick reload` does, which also says "
                           "what became of it).\n") +
               exit_status);
  }
};

}  // namespace tallystick
