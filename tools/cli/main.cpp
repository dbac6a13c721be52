// The command line of `tallystick`: which commands there are and how they are written. The only file that
// reads it (command_table.cpp reads it off again).
//
// To add a command: declare it with its options in commands.hpp, write it in a file of its own, add an
// `add_<name>` block here and its name to `commands` at the end.
#include <CLI/CLI.hpp>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "tools/cli/client_commands.hpp"
#include "tools/cli/commands.hpp"
#include "tools/cli/configuration_commands.hpp"
#include "tools/cli/bundle.hpp"
#include "tools/cli/doctor.hpp"
#include "tools/cli/help.hpp"
#include "tools/cli/line.hpp"
#include "tools/cli/record_commands.hpp"

namespace tallystick::cli {
namespace {

constexpr const char* epilogue =
    "Exit status: 0 done, accept; 1 understood, and the answer is no (reject, refused frames, a fault "
    "found);\n"
    "2 not understood (arguments, numbers, units, files of the wrong form); 3 understood, but it could not "
    "be done\n"
    "(a file, a port, a disk). With --json, results and errors are JSON on standard output.";

void add_decode(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand("decode", "Show what a dialect makes of bytes, as JSON Lines");
  const auto options = std::make_shared<DecodeOptions>();
  command.add_option("DIALECT", options->dialect, "A *.dialect.toml")->required();
  command.add_option("FILE", options->file, "Raw bytes; standard input where left out");
  command.add_flag("--hex", options->hex, "The input is hex text");
  command.add_flag("--log", options->log, "The input is a replay log, with its times");
  runs(command, run, options, decode);
}

// Where the record lies, for commands that read it themselves.
void add_record(CLI::App& command, RecordOptions& record) {
  auto* data = command.add_option("--data", record.data, "The data folder");
  command.add_option("--config", record.config, "A tallystick.toml that names it")->excludes(data);
}

void add_daemon(CLI::App& command, DaemonOptions& daemon) {
  auto* address =
      command.add_option("--daemon", daemon.daemon, "Its address, or the path of its Unix socket");
  command.add_option("--config", daemon.config, "A tallystick.toml that names its address")
      ->excludes(address);
}

void add_export(CLI::App& app, Run& run) {
  auto& command =
      *app.add_subcommand("export", "Give on what was measured, as CSV or JSON Lines (EXPORT.md)");
  const auto options = std::make_shared<ExportOptions>();
  add_record(command, options->record);
  command.add_option("--format", options->format, "csv or jsonl")->type_name("csv|jsonl");
  constexpr std::pair<const char*, const char*> parameters[] = {
      {"lot", "Key or name of the lot"},
      {"part", "Key of the part, or its serial"},
      {"walk", "Key of the walk"},
      {"feature", "Key of the feature"},
      {"gauge", "Id of the gauge"},
      {"kind", "Kind of fact"},
      {"verdict", "accept, reject, undecided; of marks suspect, cleared"},
      {"from", "Measured at or after: 2026-11-25 or 2026-11-25T07:31:05Z"},
      {"to", "Measured before"},
      {"after", "Cursor: only what comes behind it"},
      {"until", "Cursor: nothing that comes behind it"},
  };
  for (const auto& [name, help] : parameters)
    command
        .add_option_function<std::string>(
            std::string("--") + name,
            [options, name = name](const std::string& text) { options->parameters[name] = text; }, help)
        ->type_name(name == std::string("kind") ? "result|mark|correction|disposition|release" : "TEXT");
  command.add_flag_callback(
      "--as-of-now", [options] { options->parameters["as_of_now"] = "true"; },
      "Without what later facts overrule");
  command.add_flag_callback(
      "--suspect", [options] { options->parameters["suspect"] = "true"; },
      "Only facts on which a suspect mark stands now");
  command.add_option("--output", options->output, "File, replaced as a whole at the end");
  command.add_option("--cursor-file", options->cursor_file,
                     "Goes on from the cursor in this file, and puts the new one there at the end");
  command.add_flag("--json", options->json, "Errors as JSON too");
  runs(command, run, options, export_facts);
}

void add_suspects(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand("suspects", "List results whose gauge or master later failed");
  const auto options = std::make_shared<SuspectsOptions>();
  add_record(command, options->record);
  command.add_option("--lot", options->lot, "Key or name of the lot");
  command.add_flag("--json", options->json, "One JSON object a line");
  runs(command, run, options, suspects);
}

void add_clear_suspects(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand("clear-suspects", "Decide about suspect results, for good and by name");
  const auto options = std::make_shared<ClearSuspectsOptions>();
  command.add_option("RESULT", options->results, "Keys, as suspects lists them; left out: all of a gauge or a lot");
  command.add_option("--gauge", options->gauge, "All that stand suspect of this gauge");
  command.add_option("--lot", options->lot, "All that stand suspect of this lot, by key or name");
  command.add_option("--decision", options->decision, "The result stands, waits for a new one, or is rejected")
      ->required()
      ->check(CLI::IsMember({"use-as-is", "measure-again", "reject"}))
      ->type_name("use-as-is|measure-again|reject");
  command.add_option("--person", options->person, "Who decides")->required();
  command.add_option("--reason", options->reason, "One of the configuration's [reasons] suspect")->required();
  command.add_option("--note", options->note, "Why; needed to use a result as it is");
  command.add_option("--customer", options->customer, "What the customer was told; needed for a part that was released");
  add_daemon(command, options->daemon);
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, clear_suspects);
}

void add_lists(CLI::App& app, Run& run) {
  constexpr std::pair<const char*, const char*> subjects[] = {
      {"benches", "List the benches of the running daemon, and what they do"},
      {"gauges", "List the gauges of the running daemon, and whether they may be used"},
      {"lots", "List the lots of the running daemon"},
      {"walks", "List the walks that are open or parked"},
      {"checklists", "List the editions published"},
  };
  for (const auto& [subject, help] : subjects) {
    auto& command = *app.add_subcommand(subject, help);
    const auto options = std::make_shared<ListOptions>();
    options->subject = subject;
    add_daemon(command, options->daemon);
    command.add_flag("--json", options->json, "Answer in JSON");
    runs(command, run, options, list);
  }
  auto& view = *app.add_subcommand("view", "Show what a bench shows now");
  const auto options = std::make_shared<ListOptions>();
  view.add_option_function<std::string>(
          "BENCH", [options](const std::string& bench) { options->subject = "bench/" + bench; }, "Its id")
      ->required();
  add_daemon(view, options->daemon);
  view.add_flag("--json", options->json, "Answer in JSON");
  runs(view, run, options, list);
}

void add_ports(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand("ports", "List the ports of the running daemon, or follow one");
  const auto options = std::make_shared<PortsOptions>();
  add_daemon(command, options->daemon);
  command.add_option("--watch", options->watch, "Port or gauge whose frames to show, raw and decoded");
  command.add_option("--seconds", options->seconds, "How long; else until interrupted");
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, ports);
}

std::shared_ptr<CommandOptions> add_sent(CLI::App& command, Run& run, const char* kind) {
  const auto options = std::make_shared<CommandOptions>();
  options->kind = kind;
  options->bench = "-";
  add_daemon(command, options->daemon);
  command.add_option("--idempotency-key", options->idempotency_key,
                     "The same key gives the same answer, done once");
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, tallystick::cli::command);
  return options;
}

// An option that becomes a member of the command's body.
CLI::Option* add_member(CLI::App& command, const std::shared_ptr<CommandOptions>& options,
                        const std::string& flag, const std::string& member, const char* help) {
  return command.add_option_function<std::string>(
      flag, [options, member](const std::string& text) { options->members.push_back(member + text); }, help);
}

void add_commands(CLI::App& app, Run& run) {
  auto& any = *app.add_subcommand("command", "Send any command to the running daemon (VIEW.md lists them)");
  const auto sent = add_sent(any, run, "");
  any.add_option("BENCH", sent->bench, "Id of the bench; - for a lot or an edition")->required();
  any.add_option("KIND", sent->kind, "act, open_lot, begin_walk, ...")->required();
  any.add_option("MEMBERS", sent->members, "key=text, or key:=JSON for what is not text");
  any.add_flag("--look", sent->look, "Look at the bench first; refused if the walk moves on meanwhile");

  auto& act = *app.add_subcommand("act", "Press good, not good or again at a bench");
  const auto acting = add_sent(act, run, "act");
  acting->look = true;
  act.add_option("BENCH", acting->bench, "Id of the bench")->required();
  add_member(act, acting, "ACTION", "action=", "What is pressed")
      ->required()
      ->type_name("good|not_good|again");
  add_member(act, acting, "--reason", "reason=", "From the shop's list");

  auto& publish = *app.add_subcommand("publish", "Publish the editions of a family whose content changed");
  const auto publishing = add_sent(publish, run, "publish");
  add_member(publish, publishing, "FAMILY", "family=", "Key of the family")->required();
  add_member(publish, publishing, "--person", "person=", "Who publishes")->required();
  add_member(publish, publishing, "--reason", "reason=", "From the shop's list")->required();

  auto& lot = *app.add_subcommand("lot", "Open a lot");
  lot.require_subcommand(1);
  auto& open = *lot.add_subcommand("open", "Open a lot of a size");
  const auto opening = add_sent(open, run, "open_lot");
  open.add_option("--bench", opening->bench, "At this bench");
  add_member(open, opening, "NAME", "lot_name=", "As people say it")->required();
  add_member(open, opening, "--family", "family=", "Key of the family")->required();
  add_member(open, opening, "--size", "size=", "Row of its size table")->required();
  add_member(open, opening, "--print-revision", "print_revision=", "Where the size has several");
  add_member(open, opening, "--first", "first:=", "First serial")->required();
  add_member(open, opening, "--last", "last:=", "Last serial")->required();
  for (const char* name : {"heat", "machine", "program", "order"})
    add_member(open, opening, std::string("--") + name, std::string(name) + "=", "Kept with the lot");
}

void add_check(CLI::App& app, Run& run) {
  auto& command =
      *app.add_subcommand("check", "Check a configuration whole: every fault with line and remedy");
  const auto options = std::make_shared<CheckOptions>();
  command.add_option("CONFIG", options->config, "A tallystick.toml, or its folder")->required();
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, check);

  auto& list = *app.add_subcommand("register", "List the benches, ports and gauges of a configuration");
  const auto listing = std::make_shared<RegisterOptions>();
  list.add_option("CONFIG", listing->config, "A tallystick.toml, or its folder")->required();
  list.add_flag("--json", listing->json, "Answer in JSON");
  runs(list, run, listing, registered);
}

void add_checklist(CLI::App& app, Run& run) {
  constexpr const char* sources = "A configuration, a *.family.toml, or an edition's JSON";
  auto& checklist = *app.add_subcommand("checklist", "Work out, compare and extend checklists on disk");
  checklist.require_subcommand(1);

  auto& show = *checklist.add_subcommand("show", "Show the worked-out checklist of every size");
  const auto showing = std::make_shared<ShowOptions>();
  show.add_option("SOURCE", showing->source, sources)->required();
  show.add_option("--size", showing->size, "One size only");
  show.add_flag("--json", showing->json, "One edition a line");
  runs(show, run, showing, checklist_show);

  auto& compare =
      *checklist.add_subcommand("compare", "Tell what changed in the worked-out content of each size");
  const auto comparing = std::make_shared<CompareOptions>();
  compare.add_option("BEFORE", comparing->before, sources)->required();
  compare.add_option("AFTER", comparing->after, sources)->required();
  compare.add_flag("--json", comparing->json, "One size a line");
  runs(compare, run, comparing, checklist_compare);

  auto& add = *checklist.add_subcommand("add-size", "Add a size: one row of the size table, checked first");
  const auto adding = std::make_shared<AddSizeOptions>();
  add.add_option("FAMILY", adding->family, "A *.family.toml")->required();
  add.add_option("CELLS", adding->cells, "column=value, for each column that differs from --like")
      ->required();
  add.add_option("--like", adding->like, "Size whose cells stand where none are given");
  add.add_option("--after", adding->after, "Size behind which the row goes; else at the end");
  add.add_flag("--dry-run", adding->dry_run, "Work it out and write nothing");
  add.add_flag("--json", adding->json, "Answer in JSON");
  runs(add, run, adding, checklist_add_size);
}

void add_person_and_reason(CLI::App& command, std::string& who, std::string& why) {
  command.add_option("--person", who, "Who does it; kept in the record for good")->required();
  command.add_option("--reason", why, "Why; kept in the record for good")->required();
}

void add_verify(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand("verify", "Prove the record: chain, tables, files; the daemon may run");
  const auto options = std::make_shared<VerifyCommandOptions>();
  add_record(command, options->record);
  command.add_option("FILE", options->file, "A journal or a backup, instead of the data folder");
  command.add_option("--since", options->since, "Key of an event: only what follows it");
  command.add_flag("--recompute", options->recompute, "Decide every result anew from its readings, too");
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, verify);
}

void add_backup(CLI::App& app, Run& run) {
  auto& command =
      *app.add_subcommand("backup", "Copy the record as it is now, and prove the copy; the daemon may run");
  const auto options = std::make_shared<BackupOptions>();
  add_record(command, options->record);
  command.add_option("TO", options->to, "A new file, or a folder for one")->required();
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, backup);
}

void add_restore(CLI::App& app, Run& run) {
  auto& command =
      *app.add_subcommand("restore", "Make a data folder from a backup; a new branch begins in it");
  const auto options = std::make_shared<RestoreOptions>();
  add_record(command, options->record);
  command.add_option("BACKUP", options->from, "The file that backup made")->required();
  add_person_and_reason(command, options->who, options->why);
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, restore);
}

void add_confirm_break(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand(
      "confirm-break", "State that a break in the chain is known; measuring goes on in a new branch");
  const auto options = std::make_shared<ConfirmBreakOptions>();
  add_record(command, options->record);
  add_person_and_reason(command, options->who, options->why);
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, confirm_break);
}

void add_simulate(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand(
      "simulate", "Start the simulated bench, or press one of its gauges (simulate --help)");
  const auto options = std::make_shared<SimulateOptions>();
  command.set_help_flag();  // the simulator has its own
  command.prefix_command();
  command.callback([&command, &run, options] {
    options->arguments = command.remaining();
    run.command = [&run, options] { return simulate(*options, run.streams); };
  });
}

void add_reload(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand(
      "reload", "Have the daemon read its configuration anew: whole, or not at all with every fault told");
  const auto options = std::make_shared<ReloadOptions>();
  add_daemon(command, options->daemon);
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, reload);
}

// For commands that read the configuration and ask the daemon: both may be named.
void add_config_and_daemon(CLI::App& command, DaemonOptions& daemon) {
  command.add_option("--config", daemon.config, "tallystick.toml, or its folder; else /etc/tallystick");
  command.add_option("--daemon", daemon.daemon, "Its address, or the path of its Unix socket; else as configured");
}

void add_doctor(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand(
      "doctor", "Look at ports, clock, disk, record and gauges; say what to do about each finding");
  const auto options = std::make_shared<DoctorOptions>();
  add_config_and_daemon(command, options->daemon);
  command.add_option("--user", options->user, "Whom the ports must be open to; else the service's user");
  command.add_flag("--json", options->json, "Answer in JSON");
  command.footer("Exit status: 0 all is good; 1 something was found; 2 wrong usage; 3 no configuration can be read.");
  runs(command, run, options, doctor);
}

void add_bundle(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand(
      "bundle", "Collect what support needs in a .tar, without secrets and names of people; read it before it goes out");
  const auto options = std::make_shared<BundleOptions>();
  add_config_and_daemon(command, options->daemon);
  command.add_option("TO", options->to, "A new file, or a folder for one")->required();
  command.add_option("--log", options->log, "The daemon's log; else the last lines of the system's journal");
  command.add_flag("--json", options->json, "Answer in JSON");
  runs(command, run, options, bundle);
}

void add_help(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand("help", "Tell about a command; make man pages and completions");
  const auto options = std::make_shared<HelpOptions>();
  command.add_option("COMMAND", options->command, "Whose help; none: of the program");
  command.add_option("--man", options->man, "Man page: 1 the commands, 5 the configuration, 8 the daemon")
      ->type_name("1|5|8");
  command.add_option("--completion", options->completion, "Completion script of a shell")
      ->type_name("bash|zsh|fish");
  command.add_flag("--exit-codes", options->exit_codes, "What each exit status means");
  options->table = [&app] { return table_of(app); };
  options->help_of = [&app](const std::vector<std::string>& words) {
    CLI::App* found = &app;
    for (const auto& word : words) {
      const auto below = found->get_subcommands([&](CLI::App* one) { return one->get_name() == word; });
      if (below.empty()) return std::string();
      found = below.front();
    }
    return found->help();
  };
  runs(command, run, options, help);
}

using Add = void (*)(CLI::App&, Run&);
constexpr Add commands[] = {
    add_backup, add_bundle, add_check, add_checklist, add_clear_suspects, add_commands, add_compute,  add_confirm_break, add_decode, add_doctor,
    add_export, add_gauge, add_help,     add_lists,   add_ports,     add_reload, add_restore,  add_simulate, add_suspects,      add_verify,
};

// CLI11 takes -5 as a number but -.5 for an option; written -0.5 it is the same number.
std::vector<std::string> arguments(int count, char** values) {
  std::vector<std::string> out(values + 1, values + count);
  for (auto& argument : out) {
    if (argument.size() > 2 && argument.starts_with("-.") && argument[2] >= '0' && argument[2] <= '9') {
      argument.insert(1, "0");
    }
  }
  return {out.rbegin(), out.rend()};  // CLI11 wants them from the last
}

int run(int count, char** values) {
  CLI::App app("The companion of tallystickd: checks, reads and exports what the inspection bench keeps.",
               "tallystick");
  app.set_version_flag("--version", std::string("tallystick ") + TALLYSTICK_VERSION,
                       "Tell the version and end");
  app.footer(epilogue);
  app.require_subcommand(1);
  Run run{{std::cin, std::cout, std::cerr}, {}};
  for (const Add add : commands) add(app, run);
  try {
    app.parse(arguments(count, values));
  } catch (const CLI::ParseError& error) {
    if (app.exit(error) == 0) return status::good;
    if (const auto meant = did_you_mean(table_of(app), {values + 1, values + count}); !meant.empty())
      std::cerr << meant << '\n';
    return status::not_understood;
  }
  const int answer = run.command();
  std::cout.flush();
  if (!std::cout)
    return say({"cannot_write", "standard output does not take the answer", {}, {}}, false, run.streams,
               status::not_done);
  return answer;
}

}  // namespace
}  // namespace tallystick::cli

int main(int count, char** values) { return tallystick::cli::run(count, values); }
