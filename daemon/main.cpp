// tallystickd: the daemon of the inspection bench.
#include <CLI/CLI.hpp>
#include <iostream>

#include "daemon/house.hpp"

int main(int argc, char** argv) {
  CLI::App app{"Tallystick: takes values from gauges, judges them against the print, keeps them, gives them on.", "tallystickd"};
  std::string configuration = "/etc/tallystick";
  app.add_option("--config", configuration, "tallystick.toml, or the folder that holds it")->capture_default_str();
  app.set_version_flag("--version", std::string("tallystickd ") + TALLYSTICK_VERSION);
  app.footer("Exit status: 0 after a stop that was asked for; 1 when it cannot start (the reason is said); 2 wrong usage.");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  }
  auto house = tallystick::House::open({configuration, TALLYSTICK_VERSION});
  if (!house) {
    std::cerr << "tallystickd: " << tallystick::text(house.error()) << '\n';
    return 1;
  }
  return (*house)->run();
}
