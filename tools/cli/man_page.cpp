// Man pages from the table of commands, in man(7) macros only, so that every reader of man pages takes them.
#include <sstream>

#include "tools/cli/command_table.hpp"

namespace tallystick::cli {
namespace {

/// Text for a line of its own: nothing in it is a macro or an escape.
std::string plain(const std::string& text) {
  std::string out;
  bool first = true;
  for (const char letter : text) {
    if (first && (letter == '.' || letter == '\'')) out += "\\&";
    if (letter == '\\') {
      out += "\\e";
    } else if (letter == '-') {
      out += "\\-";
    } else {
      out += letter;
    }
    first = letter == '\n';
  }
  return out;
}

/// For the argument of a macro: in quotes, quotes of its own doubled.
std::string argument(const std::string& text) {
  std::string out;
  for (const char letter : plain(text)) out += letter == '"' ? std::string("\"\"") : std::string(1, letter);
  return '"' + out + '"';
}

class Page {
 public:
  Page(const std::string& title, const char* section, const std::string& date, const std::string& version) {
    out_ = ".\\\" Made from the table of commands; do not edit.\n.TH " + title + ' ' + section + " \"" +
           date + "\" \"tallystick " + version + "\" \"Tallystick\"\n";
  }
  void section(const std::string& name) { out_ += ".SH " + argument(name) + '\n'; }
  void heading(const std::string& name) { out_ += ".SS " + argument(name) + '\n'; }
  void text(const std::string& words) { out_ += plain(words) + '\n'; }
  void paragraph(const std::string& words) { out_ += ".PP\n" + plain(words) + '\n'; }
  void raw(const std::string& line) { out_ += line + '\n'; }
  /// A term in bold (`mark` up already), and what it means.
  void term(const std::string& mark, const std::string& meaning) {
    out_ += ".TP\n" + mark + '\n' + plain(meaning) + '\n';
  }
  std::string end() && { return std::move(out_); }

 private:
  std::string out_;
};

std::string shown(const OptionRow& option) {
  std::string out;
  if (option.positional) return "\\fI" + plain(option.names.front()) + "\\fR";
  for (const auto& name : option.names) out += (out.empty() ? "\\fB" : "\\fR, \\fB") + plain(name);
  if (!option.value.empty()) out += "\\fR \\fI" + plain(option.value);
  return out + "\\fR";
}

std::string synopsis(const std::string& name, const CommandRow& command) {
  std::string out = ".B " + plain(name);
  bool options = false;
  for (const auto& option : command.options) options = options || !option.positional;
  if (options) out += "\n[\\fIoptions\\fR]";
  for (const auto& option : command.options) {
    if (!option.positional && !option.required) continue;
    const auto written = shown(option) + (option.repeats ? " ..." : "");
    out += '\n' + (option.required ? written : '[' + written + ']');
  }
  return out;
}

void tell_options(Page& page, const CommandRow& command) {
  for (const auto& option : command.options) page.term(shown(option), option.help + ".");
}

void tell_command(Page& page, const std::string& prefix, const CommandRow& command) {
  const auto name = prefix + command.name;
  if (command.commands.empty()) {
    page.heading(name);
    page.raw(synopsis(name, command));
    page.paragraph(command.help + ".");
    tell_options(page, command);
  }
  for (const auto& below : command.commands) tell_command(page, name + ' ', below);
}

void tell_exit_status(Page& page) {
  page.section("EXIT STATUS");
  page.term("\\fB0\\fR", "Done; accept; nothing found that is wrong.");
  page.term(
      "\\fB1\\fR",
      "Understood, and the answer is no: a reject, refused frames, a fault found, a refusal of the daemon.");
  page.term("\\fB2\\fR", "Not understood: arguments, numbers, units, files of the wrong form.");
  page.term("\\fB3\\fR", "Understood, but it could not be done: a file, a port, a disk, no daemon.");
}

constexpr const char* caution =
    "The verdict supports, and does not replace, the person authorised to release the part.\nGauge only with "
    "the "
    "spindle stopped and the part clamped or at rest; local rules and the authorised person decide.";

}  // namespace

std::string man_commands(const CommandRow& table, const std::string& date, const std::string& version) {
  Page page("TALLYSTICK", "1", date, version);
  page.section("NAME");
  page.raw("tallystick \\- companion of the daemon of the inspection bench");
  page.section("SYNOPSIS");
  page.raw(".B tallystick\n\\fIcommand\\fR\n[\\fIoptions\\fR]\n[\\fIarguments\\fR]");
  page.section("DESCRIPTION");
  page.text(table.help);
  page.paragraph("Results go to standard output, everything for a person's attention to standard error.");
  page.section("OPTIONS");
  tell_options(page, table);
  page.section("COMMANDS");
  for (const auto& command : table.commands) tell_command(page, "tallystick ", command);
  tell_exit_status(page);
  page.section("CAUTIONS");
  page.text(caution);
  page.section("SEE ALSO");
  page.raw(".BR tallystick.toml (5),\n.BR tallystickd (8)");
  return std::move(page).end();
}

std::string man_daemon(const CommandRow& table, const std::string& date, const std::string& version) {
  Page page("TALLYSTICKD", "8", date, version);
  page.section("NAME");
  page.raw("tallystickd \\- daemon of the inspection bench");
  page.section("SYNOPSIS");
  page.raw(synopsis("tallystickd", table));
  page.section("DESCRIPTION");
  page.text(table.help);
  page.paragraph(
      "It keeps its record in the data folder that the configuration names, listens on a loopback address "
      "only, and "
      "on a Unix socket in that folder for the command line. Without a configuration it serves a page that "
      "offers a "
      "first one; with a broken one it serves every fault with its remedy.");
  page.section("OPTIONS");
  tell_options(page, table);
  page.section("SIGNALS");
  page.term("\\fBSIGTERM\\fR, \\fBSIGINT\\fR", "Stop in order: nothing that was taken is lost.");
  page.term("\\fBSIGHUP\\fR", "Read the configuration anew, whole or not at all.");
  page.section("EXIT STATUS");
  page.term("\\fB0\\fR", "After a stop that was asked for.");
  page.term("\\fB1\\fR", "It cannot start; the reason is said.");
  page.term("\\fB2\\fR", "Wrong usage.");
  page.section("CAUTIONS");
  page.text(caution);
  page.section("SEE ALSO");
  page.raw(".BR tallystick (1),\n.BR tallystick.toml (5)");
  return std::move(page).end();
}

namespace {

std::string trimmed(const std::string& text) {
  const auto first = text.find_first_not_of(' ');
  return first == std::string::npos ? std::string()
                                    : text.substr(first, text.find_last_not_of(' ') - first + 1);
}

/// "key = value   # comment" or "# key = value   # comment": key and value, comment. Empty key: no such line.
std::pair<std::string, std::string> key_line(std::string line) {
  if (line.starts_with("# ")) line = line.substr(2);
  const auto equals = line.find(" = ");
  if (equals == std::string::npos || line.find_first_not_of("abcdefghijklmnopqrstuvwxyz_") != equals)
    return {};
  bool quoted = false;
  for (std::size_t at = equals; at < line.size(); ++at) {
    if (line[at] == '"') quoted = !quoted;
    if (line[at] == '#' && !quoted) return {trimmed(line.substr(0, at)), trimmed(line.substr(at + 1))};
  }
  return {trimmed(line), {}};
}

}  // namespace

std::string man_configuration(const std::string& example, const std::string& date,
                              const std::string& version) {
  Page page("TALLYSTICK.TOML", "5", date, version);
  page.section("NAME");
  page.raw("tallystick.toml \\- configuration of the daemon of the inspection bench");
  page.section("DESCRIPTION");
  page.text(
      "The configuration is TOML. Each key stands here with the value of the commented example; a table in "
      "double "
      "brackets may be written several times. The example's shop is invented.");
  std::istringstream in(example);
  std::string comment_block;
  const auto close_block = [&] {
    if (!comment_block.empty()) page.paragraph(comment_block);
    comment_block.clear();
  };
  for (std::string line; std::getline(in, line);) {
    const auto table = line.starts_with("# [") ? line.substr(2) : line;
    if (table.starts_with('[')) {
      close_block();
      page.heading(table);
    } else if (const auto [key, comment] = key_line(line); !key.empty()) {
      close_block();
      page.term("\\fB" + plain(key) + "\\fR", comment.empty() ? "As it says." : comment);
    } else if (line.starts_with("# ")) {
      comment_block += (comment_block.empty() ? "" : " ") + trimmed(line.substr(2));
    } else {
      close_block();
    }
  }
  close_block();
  page.section("SEE ALSO");
  page.raw(".BR tallystick (1),\n.BR tallystickd (8)");
  return std::move(page).end();
}

}  // namespace tallystick::cli
