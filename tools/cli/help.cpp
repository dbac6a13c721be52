#include "tools/cli/help.hpp"

#include <ostream>

#include "daemon/command_line.hpp"

namespace tallystick::cli {
namespace {

std::string man_page(const std::string& section, const CommandRow& commands) {
  if (section == "1") return man_commands(commands, TALLYSTICK_DATE, TALLYSTICK_VERSION);
  if (section == "5")
    return man_configuration(std::string(example_configuration()), TALLYSTICK_DATE, TALLYSTICK_VERSION);
  if (section != "8") return {};
  CLI::App app{CommandLine::about, CommandLine::name};
  CommandLine line;
  line.declare(app);
  return man_daemon(table_of(app), TALLYSTICK_DATE, TALLYSTICK_VERSION);
}

constexpr const char* exit_codes =
    "0  done, accept, nothing found that is wrong\n"
    "1  understood, and the answer is no: a reject, refused frames, a fault found, a refusal of the daemon\n"
    "2  not understood: arguments, numbers, units, files of the wrong form\n"
    "3  understood, but it could not be done: a file, a port, a disk, no daemon\n";

}  // namespace

int help(const HelpOptions& options, Streams streams) {
  if (options.exit_codes) {
    streams.out << exit_codes;
    return status::good;
  }
  std::string made;
  if (!options.man.empty()) {
    made = man_page(options.man, options.table());
    if (made.empty())
      return say({"wrong_argument", "there is no man page of section " + tallystick::quoted(options.man),
                  "--man", "1 the commands, 5 the configuration, 8 the daemon"},
                 false, streams);
  } else if (!options.completion.empty()) {
    made = completion(options.table(), options.completion);
    if (made.empty())
      return say({"wrong_argument", "no completion for the shell " + tallystick::quoted(options.completion),
                  "--completion", "bash, zsh or fish"},
                 false, streams);
  } else {
    made = options.help_of(options.command);
    if (made.empty()) {
      const auto meant = did_you_mean(options.table(), options.command);
      std::string written;
      for (const auto& word : options.command) written += (written.empty() ? "" : " ") + word;
      return say({"unknown_command", "there is no command " + tallystick::quoted(written), {}, meant}, false,
                 streams);
    }
  }
  streams.out << made;
  return status::good;
}

}  // namespace tallystick::cli
