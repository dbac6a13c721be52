// The commands of a program as data, read off the parser that understands them: what help, man pages,
// completions and "did you mean" are made from. So there is one table, and none of them can tell another
// story.
#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace tallystick::cli {

struct OptionRow {
  std::vector<std::string> names;    ///< "--json", "-h"; of a positional its one name, "VALUE"
  std::string value;                 ///< name of the value that follows, "FILE"; empty: a flag
  std::vector<std::string> choices;  ///< where only these words are taken
  std::string help;
  bool positional = false, required = false, repeats = false;
};

struct CommandRow {
  std::string name;  ///< "add-size"
  std::string help, footer;
  std::vector<OptionRow> options;  ///< positionals first, in their order
  std::vector<CommandRow> commands;
};

CommandRow table_of(const CLI::App& app);

/// The word of `known` that `written` most likely was meant to be; empty where none is near.
std::string nearest(const std::string& written, const std::vector<std::string>& known);

/// What a command line that was not understood may have meant: "did you mean \"backup\"?"; empty where
/// nothing is near.
std::string did_you_mean(const CommandRow& table, const std::vector<std::string>& arguments);

/// Man pages in roff (man(7)); `date` is the page's, "2026-11-25".
std::string man_commands(const CommandRow& table, const std::string& date, const std::string& version);
std::string man_daemon(const CommandRow& table, const std::string& date, const std::string& version);
/// Of the configuration, from the commented example (config/tallystick.toml), every key of it.
std::string man_configuration(const std::string& example, const std::string& date,
                              const std::string& version);

/// A completion script: "bash", "zsh" or "fish"; empty for any other shell.
std::string completion(const CommandRow& table, const std::string& shell);

}  // namespace tallystick::cli
