// tallystickd: the daemon of the inspection bench.
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <iostream>

#include "daemon/command_line.hpp"
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
  tallystick::CommandLine line;
  tallystick::HouseOptions options;
  CLI::App app{line.about, line.name};
  line.declare(app);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  }
  spdlog::set_default_logger(spdlog::stderr_logger_mt("tallystickd"));
  const auto manager = tallystick::ServiceManager::from_environment();
  options.configuration = line.configuration;
  options.safe = line.safe;
  options.lobby_port = line.setup_port;
  options.version = TALLYSTICK_VERSION;
  options.manager = &manager;
  return serve(options);
}
