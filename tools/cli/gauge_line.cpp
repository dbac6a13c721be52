// The command line of `tallystick gauge`.
#include "tools/cli/gauge.hpp"
#include "tools/cli/line.hpp"

namespace tallystick::cli {
namespace {

void add_shared(CLI::App& command, const std::shared_ptr<LearnOptions>& options) {
  command.add_option("--line", options->line, "Listen with these settings alone: \"9600 7E1\"");
  command.add_option("--name", options->name, "Of the new dialect");
  command.add_option("--to", options->to, "Folder for the dialect and the log of what was heard");
  command.add_option("--config", options->config, "Whose dialects are tried first; else /etc/tallystick");
  command.add_option("--dialects", options->dialects, "Further folders of dialects to try first");
  command.add_option("--wait", options->wait, "Seconds of silence after which it gives up");
}

}  // namespace

void add_gauge(CLI::App& app, Run& run) {
  auto& gauge =
      *app.add_subcommand("gauge", "Find a gauge's port and the dialect that reads it; learn a new one");
  gauge.require_subcommand(1);
  auto& find = *gauge.add_subcommand("find", "Name the port of a gauge by plugging it in, then listen to it");
  const auto finding = std::make_shared<LearnOptions>();
  add_shared(find, finding);
  runs(find, run, finding, find_gauge);

  auto& learn = *gauge.add_subcommand(
      "learn", "Listen while its button is pressed, and propose a dialect; nothing is sent to the gauge");
  const auto learning = std::make_shared<LearnOptions>();
  learn.add_option("PORT", learning->port, "The line's path, or the id of a port of the configuration");
  learn.add_option("--log", learning->log, "A recording or replay log instead of a port");
  add_shared(learn, learning);
  learn.add_flag("--json", learning->json, "Findings of a log in JSON");
  learn.footer(
      "Exit status: 0 a dialect reads it; 1 something is missing, and is said; 2 wrong usage; 3 the port or "
      "a "
      "file cannot be had.");
  runs(learn, run, learning, learn_gauge);
}

}  // namespace tallystick::cli
