// The arguments of `tallystick compute`: they fill the same object that --input reads.
#include "tools/cli/computations.hpp"
#include "tools/cli/line.hpp"

namespace tallystick::cli {
namespace {

using Options = std::shared_ptr<ComputeOptions>;

CLI::App& add_computation(CLI::App& compute_app, Run& run, const Computation& computation, Options& options) {
  auto& app = *compute_app.add_subcommand(std::string(computation.name), std::string(computation.about));
  options = std::make_shared<ComputeOptions>();
  options->computation = &computation;
  app.add_option("--input", options->input, "A JSON file with the whole input instead; - is standard input");
  app.add_flag("--example", options->example, "Print an input that works, and end");
  app.add_flag("--json", options->json, "Answer in JSON");
  runs(app, run, options, compute);
  return app;
}

CLI::Option* add_member(CLI::App& app, const Options& options, const std::string& name, const char* member,
                        const char* help) {
  return app.add_option_function<std::string>(
      name, [options, member](const std::string& text) { options->arguments[member] = text; }, help);
}

void add_values(CLI::App& compute_app, Run& run) {
  Options options;
  auto& convert = add_computation(compute_app, run, convert_computation, options);
  add_member(convert, options, "VALUE", "value", "A plain decimal, such as -12.345; in dms 12d30m15.5s");
  add_member(convert, options, "FROM", "from",
             "Its unit: mm um nm m in thou uin deg dms degC degF N HRC ...");
  add_member(convert, options, "TO", "to", "The unit wanted");

  auto& verdict = add_computation(compute_app, run, verdict_computation, options);
  add_member(verdict, options, "VALUE", "value", "A plain decimal");
  add_member(verdict, options, "--lower", "lower", "Lower limit");
  add_member(verdict, options, "--upper", "upper", "Upper limit (one of both may be left out)");
  add_member(verdict, options, "--unit", "unit", "Unit of the limits");
  add_member(verdict, options, "--value-unit", "value_unit", "Unit of the value where it is another");
  add_member(verdict, options, "--method", "method",
             "How the value is taken: as it is, or rounded first (ASTM E29): a tie to the even digit, or "
             "away from zero")
      ->type_name("absolute|half_even|half_up");
  add_member(verdict, options, "--decimals", "decimals",
             "To how many decimals the method rounds; else those of the limits");
}

void add_fit(CLI::App& compute_app, Run& run) {
  Options options;
  auto& fit = add_computation(compute_app, run, fit_computation, options);
  add_member(fit, options, "FIT", "fit",
             "\"25 H7\", \"25 g6\" or \"25 H7/g6\": nominal in mm and tolerance class; capitals are holes");
  add_member(fit, options, "--js-odd", "js_odd",
             "How js halves an odd tolerance of IT7 to IT11: 21 to 10.5, or the even value below it to 10")
      ->type_name("exact|even-below");
}

void add_general(CLI::App& compute_app, Run& run) {
  Options options;
  auto& general = add_computation(compute_app, run, general_computation, options);
  const auto size = std::make_shared<std::string>();
  const auto angle = std::make_shared<std::string>();
  general.add_option("SIZE", *size, "Nominal in mm; with --kind angle the length of its shorter side in mm");
  add_member(general, options, "CLASS", "class", "f, m, c or v");
  add_member(general, options, "--kind", "kind", "Linear, broken edge (radius, chamfer) or angle")
      ->type_name("linear|edge|angle");
  general.add_option("--angle", *angle, "The nominal angle, 30.5 or 30d30m; only with --kind angle");
  general.callback([&run, options, size, angle] {
    auto& members = options->arguments;
    const bool of_angle = word(members, "kind") == "angle";
    if (!size->empty()) members[of_angle ? "shorter_side_mm" : "nominal_mm"] = *size;
    if (!angle->empty())
      members[angle->find('d') == std::string::npos ? "nominal_deg" : "nominal_dms"] = *angle;
    run.command = [&run, options] { return compute(*options, run.streams); };
  });
}

/// Those with more members than a line takes: the whole input is a file.
void add_whole(CLI::App& compute_app, Run& run) {
  for (const auto* one : computations()) {
    const auto known =
        compute_app.get_subcommands([&](CLI::App* app) { return app->get_name() == one->name; });
    if (!known.empty()) continue;
    Options options;
    add_computation(compute_app, run, *one, options);
  }
}

}  // namespace

void add_compute(CLI::App& app, Run& run) {
  auto& command =
      *app.add_subcommand("compute", "Exact arithmetic of measured values; alone it lists what there is");
  command.require_subcommand(0, 1);
  const auto listing = std::make_shared<ComputeListOptions>();
  command.add_flag("--json", listing->json, "Answer in JSON");
  add_values(command, run);
  add_fit(command, run);
  add_general(command, run);
  add_whole(command, run);
  command.callback([&command, &run, listing] {
    if (command.get_subcommands().empty())
      run.command = [&run, listing] { return compute_list(*listing, run.streams); };
  });
}

}  // namespace tallystick::cli
