// tallystickd: the daemon of the inspection bench.
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <iostream>

#include "daemon/house.hpp"
#include "daemon/lobby.hpp"
#include "daemon/service_manager.hpp"

namespace {

int cannot_start(const tallystick::Error& error) {
  std::cerr << "tallystickd: " << tallystick::text(error) << '\n';
  return 1;
}

/// The house; before it the lobby, as long as there is no configuration to open a house with.
int serve(const tallystick::HouseOptions& options) {
  for (;;) {
    auto house = tallystick::House::open(options);
    if (house) return (*house)->run();
    if (!tallystick::Lobby::answers(house.error())) return cannot_start(house.error());
    auto lobby = tallystick::Lobby::open(options, house.error());
    if (!lobby) return cannot_start(lobby.error());
    if ((*lobby)->run() == tallystick::Left::stopped) return 0;
  }
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{
      "Tallystick: takes values from gauges, judges them against the print, keeps them, gives them on.",
      "tallystickd"};
  std::string configuration = "/etc/tallystick";
  tallystick::HouseOptions options;
  app.add_option("--config", configuration, "tallystick.toml, or the folder that holds it")
      ->capture_default_str();
  app.add_flag("--safe", options.safe,
               "Safe start: no gauge is opened and nothing is taken; pages, record and export can be read");
  app.add_option("--setup-port", options.lobby_port,
                 "Where to listen while there is no configuration that says so")
      ->check(CLI::Range(0, 65535))
      ->capture_default_str();
  app.set_version_flag("--version", std::string("tallystickd ") + TALLYSTICK_VERSION);
  app.footer(
      "SIGHUP reads the configuration anew (as `tallystick reload` does, which also says what became of "
      "it).\n"
      "Exit status: 0 after a stop that was asked for; 1 when it cannot start (the reason is said); 2 wrong "
      "usage.");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  }
  spdlog::set_default_logger(spdlog::stderr_logger_mt("tallystickd"));
  const auto manager = tallystick::ServiceManager::from_environment();
  options.configuration = configuration;
  options.version = TALLYSTICK_VERSION;
  options.manager = &manager;
  return serve(options);
}
