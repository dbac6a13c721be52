// The command line of `tallystick`: which commands there are and how they are written. The only file that
// knows CLI11.
//
// To add a command: declare it with its options in commands.hpp, write it in a file of its own, add an
// `add_<name>` block here and its name to `commands` at the end.
#include <CLI/CLI.hpp>
#include <functional>
#include <iostream>
#include <memory>
#include <string>
#include <vector>

#include "tools/cli/commands.hpp"

namespace tallystick::cli {
namespace {

constexpr const char* epilogue =
    "Exit status: 0 done, accept; 1 understood, and the answer is no (reject, refused frames, a fault "
    "found);\n"
    "2 not understood (arguments, numbers, units, files of the wrong form); 3 understood, but it could not "
    "be done\n"
    "(a file, a port, a disk). With --json, results and errors are JSON on standard output.";

// The command that was chosen; it runs after the whole line was understood.
struct Run {
  Streams streams;
  std::function<int()> command;
};

// `options` live as long as the parser and the command that use them.
template <class Options>
void runs(CLI::App& app, Run& run, std::shared_ptr<Options> options,
          int (*command)(const Options&, Streams)) {
  app.callback([&run, options, command] {
    run.command = [&run, options, command] { return command(*options, run.streams); };
  });
}

void add_compute(CLI::App& app, Run& run) {
  auto& compute = *app.add_subcommand("compute", "Exact arithmetic of measured values");
  compute.require_subcommand(1);

  auto& convert = *compute.add_subcommand("convert", "Write a value in another unit, exactly");
  const auto conversion = std::make_shared<ConvertOptions>();
  convert.add_option("VALUE", conversion->value, "A plain decimal, such as -12.345; in dms 12d30m15.5s")
      ->required();
  convert
      .add_option("FROM", conversion->from, "Its unit: mm um nm m in thou uin deg dms degC degF N HRC ...")
      ->required();
  convert.add_option("TO", conversion->to, "The unit wanted")->required();
  convert.add_flag("--json", conversion->json, "Answer in JSON");
  runs(convert, run, conversion, compute_convert);

  auto& verdict =
      *compute.add_subcommand("verdict", "Judge a value against limits; a value on a limit is inside");
  const auto judging = std::make_shared<VerdictOptions>();
  verdict.add_option("VALUE", judging->value, "A plain decimal")->required();
  verdict.add_option("--lower", judging->lower, "Lower limit");
  verdict.add_option("--upper", judging->upper, "Upper limit (one of both may be left out)");
  verdict.add_option("--unit", judging->unit, "Unit of the limits")->required();
  verdict.add_option("--value-unit", judging->value_unit, "Unit of the value where it is another");
  verdict.add_flag("--json", judging->json, "Answer in JSON");
  runs(verdict, run, judging, compute_verdict);
}

void add_decode(CLI::App& app, Run& run) {
  auto& command = *app.add_subcommand("decode", "Show what a dialect makes of bytes, as JSON Lines");
  const auto options = std::make_shared<DecodeOptions>();
  command.add_option("DIALECT", options->dialect, "A *.dialect.toml")->required();
  command.add_option("FILE", options->file, "Raw bytes; standard input where left out");
  command.add_flag("--hex", options->hex, "The input is hex text");
  command.add_flag("--log", options->log, "The input is a replay log, with its times");
  runs(command, run, options, decode);
}

using Add = void (*)(CLI::App&, Run&);
constexpr Add commands[] = {
    add_compute,
    add_decode,
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
  app.set_version_flag("--version", std::string("tallystick ") + TALLYSTICK_VERSION);
  app.footer(epilogue);
  app.require_subcommand(1);
  Run run{{std::cin, std::cout, std::cerr}, {}};
  for (const Add add : commands) add(app, run);
  try {
    app.parse(arguments(count, values));
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? status::good : status::not_understood;
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
