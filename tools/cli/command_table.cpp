#include "tools/cli/command_table.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <sstream>

namespace tallystick::cli {
namespace {

std::vector<std::string> words_of(const std::string& choices) {
  std::vector<std::string> out;
  std::istringstream in(choices);
  for (std::string word; std::getline(in, word, '|');) out.push_back(word);
  return out;
}

OptionRow row_of(const CLI::Option& option) {
  OptionRow row;
  row.positional = option.get_positional();
  if (row.positional) {
    row.names.push_back(option.get_single_name());
  } else {
    for (const auto& name : option.get_lnames()) row.names.push_back("--" + name);
    for (const auto& name : option.get_snames()) row.names.push_back("-" + name);
  }
  row.help = option.get_description();
  row.required = option.get_required();
  row.repeats = option.get_expected_max() > 1;
  const auto type = option.get_type_name();
  if (option.get_expected_max() > 0 && option.get_type_size() > 0) {
    if (type.find('|') != std::string::npos) row.choices = words_of(type);
    row.value = type.empty() || type == "TEXT" ? "TEXT" : type;
  }
  return row;
}

// Damerau's distance without crossings: insertions, deletions, exchanges, neighbours swapped.
std::size_t distance(const std::string& left, const std::string& right) {
  const auto width = right.size() + 1;
  std::vector<std::size_t> table((left.size() + 1) * width);
  const auto at = [&](std::size_t row, std::size_t column) -> std::size_t& {
    return table[row * width + column];
  };
  for (std::size_t row = 0; row <= left.size(); ++row) at(row, 0) = row;
  for (std::size_t column = 0; column <= right.size(); ++column) at(0, column) = column;
  for (std::size_t row = 1; row <= left.size(); ++row) {
    for (std::size_t column = 1; column <= right.size(); ++column) {
      const std::size_t change = left[row - 1] == right[column - 1] ? 0 : 1;
      at(row, column) =
          std::min({at(row - 1, column) + 1, at(row, column - 1) + 1, at(row - 1, column - 1) + change});
      if (row > 1 && column > 1 && left[row - 1] == right[column - 2] && left[row - 2] == right[column - 1])
        at(row, column) = std::min(at(row, column), at(row - 2, column - 2) + 1);
    }
  }
  return at(left.size(), right.size());
}

std::vector<std::string> names_of(const std::vector<CommandRow>& commands) {
  std::vector<std::string> out;
  for (const auto& command : commands) out.push_back(command.name);
  return out;
}

const CommandRow* find(const std::vector<CommandRow>& commands, const std::string& name) {
  const auto at =
      std::find_if(commands.begin(), commands.end(), [&](const auto& row) { return row.name == name; });
  return at == commands.end() ? nullptr : &*at;
}

std::string suggestion(const std::string& written, const std::vector<std::string>& known) {
  const auto meant = nearest(written, known);
  return meant.empty() || meant == written ? std::string() : "did you mean \"" + meant + "\"?";
}

}  // namespace

CommandRow table_of(const CLI::App& app) {
  CommandRow row;
  row.name = app.get_name();
  row.help = app.get_description();
  row.footer = app.get_footer();
  for (const auto* option : app.get_options()) row.options.push_back(row_of(*option));
  std::stable_partition(row.options.begin(), row.options.end(),
                        [](const OptionRow& option) { return option.positional; });
  for (const auto* command : app.get_subcommands([](const CLI::App*) { return true; }))
    row.commands.push_back(table_of(*command));
  std::sort(row.commands.begin(), row.commands.end(),
            [](const CommandRow& left, const CommandRow& right) { return left.name < right.name; });
  return row;
}

std::string nearest(const std::string& written, const std::vector<std::string>& known) {
  std::string best;
  // A third of the letters may be wrong, at least one.
  std::size_t least = std::max<std::size_t>(1, written.size() / 3) + 1;
  for (const auto& word : known) {
    if (const auto away = distance(written, word); away < least) {
      least = away;
      best = word;
    }
  }
  return best;
}

std::string did_you_mean(const CommandRow& table, const std::vector<std::string>& arguments) {
  const CommandRow* command = &table;
  for (const auto& argument : arguments) {
    if (argument.starts_with('-') && argument.size() > 1) {
      std::vector<std::string> known;
      for (const auto& option : command->options)
        if (!option.positional) known.insert(known.end(), option.names.begin(), option.names.end());
      const auto name = argument.substr(0, argument.find('='));
      if (std::find(known.begin(), known.end(), name) == known.end())
        if (auto meant = suggestion(name, known); !meant.empty()) return meant;
    } else if (const auto* below = find(command->commands, argument)) {
      command = below;
    } else if (!command->commands.empty()) {
      return suggestion(argument, names_of(command->commands));
    }
  }
  return {};
}

}  // namespace tallystick::cli
