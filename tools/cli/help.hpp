// What the program tells about itself; see commands.hpp.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "tools/cli/command_table.hpp"
#include "tools/cli/commands.hpp"

namespace tallystick::cli {

struct HelpOptions {
  std::vector<std::string> command;  ///< whose help; none: of the program
  std::string man;                   ///< "1" the commands, "5" the configuration, "8" the daemon
  std::string completion;            ///< "bash", "zsh", "fish"
  bool exit_codes = false;
  std::function<CommandRow()> table;                                    ///< of this program
  std::function<std::string(const std::vector<std::string>&)> help_of;  ///< empty: no such command
};
int help(const HelpOptions& options, Streams streams);

/// The commented example of the configuration, embedded when the program is built.
std::string_view example_configuration();

}  // namespace tallystick::cli
