// Completion scripts from the table of commands. Each walks the words written so far down to the command that
// they name ("/checklist/add-size"), then offers what may follow there; where a value is wanted that is no
// fixed word, files.
#include <functional>
#include <sstream>

#include "tools/cli/command_table.hpp"

namespace tallystick::cli {
namespace {

using Visit = std::function<void(const std::string& place, const CommandRow& command)>;

void walk(const CommandRow& command, const std::string& place, const Visit& visit) {
  visit(place, command);
  for (const auto& below : command.commands) walk(below, place + '/' + below.name, visit);
}

/// In single quotes of bash and zsh.
std::string quoted_for_shell(const std::string& text) {
  std::string out = "'";
  for (const char letter : text) out += letter == '\'' ? std::string("'\\''") : std::string(1, letter);
  return out + '\'';
}

std::string joined(const std::vector<std::string>& words, const char* between) {
  std::string out;
  for (const auto& word : words) out += (out.empty() ? "" : between) + word;
  return out;
}

/// "/backup|/check|/checklist/add-size": every place but the root.
std::string places(const CommandRow& table) {
  std::string out;
  walk(table, "", [&](const std::string& place, const CommandRow&) {
    if (!place.empty()) out += (out.empty() ? "" : "|") + place;
  });
  return out;
}

/// Words that may stand where an argument of the command is wanted.
std::vector<std::string> argument_words(const CommandRow& command) {
  std::vector<std::string> out;
  for (const auto& below : command.commands) out.push_back(below.name);
  for (const auto& option : command.options)
    if (option.positional) out.insert(out.end(), option.choices.begin(), option.choices.end());
  return out;
}

/// "/export:--format" alternatives of an option at a place.
std::string asked_as(const std::string& place, const OptionRow& option) {
  std::vector<std::string> out;
  for (const auto& name : option.names) out.push_back(place + ':' + name);
  return joined(out, "|");
}

std::string bash(const CommandRow& table) {
  std::ostringstream out;
  out << "# bash completion of " << table.name << "; made from its table of commands.\n_" << table.name
      << "() {\n  local current=\"${COMP_WORDS[COMP_CWORD]}\" previous=\"${COMP_WORDS[COMP_CWORD - 1]}\"\n"
         "  local place=\"\" index options=\"\" arguments=\"\"\n  COMPREPLY=()\n"
         "  for ((index = 1; index < COMP_CWORD; index++)); do\n    case \"$place/${COMP_WORDS[index]}\" "
         "in\n      "
      << places(table) << ") place=\"$place/${COMP_WORDS[index]}\" ;;\n    esac\n  done\n"
      << "  case \"$place:$previous\" in\n";
  walk(table, "", [&](const std::string& place, const CommandRow& command) {
    for (const auto& option : command.options) {
      if (option.positional || option.value.empty()) continue;
      out << "    " << asked_as(place, option) << ") ";
      if (!option.choices.empty())
        out << "COMPREPLY=($(compgen -W \"" << joined(option.choices, " ") << "\" -- \"$current\")); ";
      out << "return ;;\n";
    }
  });
  out << "  esac\n  case \"$place\" in\n";
  walk(table, "", [&](const std::string& place, const CommandRow& command) {
    std::vector<std::string> names;
    for (const auto& option : command.options)
      if (!option.positional) names.insert(names.end(), option.names.begin(), option.names.end());
    out << "    \"" << place << "\") options=\"" << joined(names, " ") << "\" arguments=\""
        << joined(argument_words(command), " ") << "\" ;;\n";
  });
  out << "  esac\n  if [[ $current == -* ]]; then\n    COMPREPLY=($(compgen -W \"$options\" -- "
         "\"$current\"))\n"
         "  else\n    COMPREPLY=($(compgen -W \"$arguments\" -- \"$current\"))\n  fi\n}\n"
      << "complete -o bashdefault -o default -F _" << table.name << ' ' << table.name << '\n';
  return out.str();
}

std::string described(const std::string& word, const std::string& help) {
  std::string escaped;
  for (const char letter : word) escaped += letter == ':' ? std::string("\\:") : std::string(1, letter);
  return quoted_for_shell(escaped + ':' + help);
}

std::string zsh(const CommandRow& table) {
  std::ostringstream out;
  out << "#compdef " << table.name << "\n# zsh completion of " << table.name
      << "; made from its table of commands.\n_" << table.name
      << "() {\n  local place=\"\" index\n  local -a arguments options\n"
         "  for ((index = 2; index < CURRENT; index++)); do\n    case \"$place/${words[index]}\" in\n      "
      << places(table) << ") place=\"$place/${words[index]}\" ;;\n    esac\n  done\n"
      << "  case \"$place:${words[CURRENT - 1]}\" in\n";
  walk(table, "", [&](const std::string& place, const CommandRow& command) {
    for (const auto& option : command.options) {
      if (option.positional || option.value.empty()) continue;
      out << "    " << asked_as(place, option) << ") "
          << (option.choices.empty() ? std::string("_files") : "compadd -- " + joined(option.choices, " "))
          << "; return ;;\n";
    }
  });
  out << "  esac\n  case \"$place\" in\n";
  walk(table, "", [&](const std::string& place, const CommandRow& command) {
    out << "    \"" << place << "\")\n      arguments=(";
    for (const auto& below : command.commands) out << "\n        " << described(below.name, below.help);
    for (const auto& option : command.options)
      for (const auto& choice : option.choices)
        if (option.positional) out << "\n        " << described(choice, option.help);
    out << ")\n      options=(";
    for (const auto& option : command.options)
      for (const auto& name : option.names)
        if (!option.positional) out << "\n        " << described(name, option.help);
    out << ") ;;\n";
  });
  out << "  esac\n  if [[ ${words[CURRENT]} == -* ]]; then\n    _describe -o option options\n"
         "  elif ((${#arguments})); then\n    _describe argument arguments\n  else\n    _files\n  fi\n}\n"
      << "_" << table.name << " \"$@\"\n";
  return out.str();
}

std::string quoted_for_fish(const std::string& text) {
  std::string out = "'";
  for (const char letter : text) {
    if (letter == '\'' || letter == '\\') out += '\\';
    out += letter;
  }
  return out + '\'';
}

std::string fish(const CommandRow& table) {
  std::ostringstream out;
  out << "# fish completion of " << table.name << "; made from its table of commands.\nfunction __"
      << table.name
      << "_at\n  set -l place ''\n  for word in (commandline -opc)[2..-1]\n    switch \"$place/$word\"\n     "
         " case";
  walk(table, "", [&](const std::string& place, const CommandRow&) {
    if (!place.empty()) out << ' ' << quoted_for_fish(place);
  });
  out << "\n        set place \"$place/$word\"\n    end\n  end\n  test \"$place\" = \"$argv[1]\"\nend\n";
  walk(table, "", [&](const std::string& place, const CommandRow& command) {
    const std::string start =
        "complete -c " + table.name + " -n " + quoted_for_fish("__" + table.name + "_at '" + place + "'");
    for (const auto& below : command.commands)
      out << start << " -f -a " << below.name << " -d " << quoted_for_fish(below.help) << '\n';
    for (const auto& option : command.options) {
      if (option.positional) {
        if (!option.choices.empty())
          out << start << " -f -a " << quoted_for_fish(joined(option.choices, " ")) << '\n';
        continue;
      }
      out << start;
      for (const auto& name : option.names)
        out << (name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1));
      if (!option.choices.empty()) {
        out << " -x -a " << quoted_for_fish(joined(option.choices, " "));
      } else if (!option.value.empty()) {
        out << " -r";
      }
      out << " -d " << quoted_for_fish(option.help) << '\n';
    }
  });
  return out.str();
}

}  // namespace

std::string completion(const CommandRow& table, const std::string& shell) {
  if (shell == "bash") return bash(table);
  if (shell == "zsh") return zsh(table);
  if (shell == "fish") return fish(table);
  return {};
}

}  // namespace tallystick::cli
