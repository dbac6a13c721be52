// What the blocks of the command line share (main.cpp, compute_line.cpp): the command that was chosen, and
// how a subcommand becomes one.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <memory>

#include "tools/cli/commands.hpp"

namespace tallystick::cli {

/// The command that was chosen; it runs after the whole line was understood.
struct Run {
  Streams streams;
  std::function<int()> command;
};

/// `options` live as long as the parser and the command that use them.
template <class Options>
void runs(CLI::App& app, Run& run, std::shared_ptr<Options> options,
          int (*command)(const Options&, Streams)) {
  app.callback([&run, options, command] {
    run.command = [&run, options, command] { return command(*options, run.streams); };
  });
}

/// `tallystick compute` and all below it.
void add_compute(CLI::App& app, Run& run);
/// `tallystick gauge` and all below it.
void add_gauge(CLI::App& app, Run& run);

}  // namespace tallystick::cli
