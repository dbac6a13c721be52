#include <algorithm>
#include <array>
#include <fstream>
#include <istream>
#include <iterator>
#include <ostream>
#include <sstream>

#include "daemon/measure/derive.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {
namespace {

constexpr std::array computation_table = {
    &arc_computation,         &bolt_circle_computation,      &budget_computation,     &coaxiality_computation,
    &convert_computation,     &decision_computation,         &dovetail_computation,   &fit_computation,
    &flatness_computation,    &general_computation,          &over_balls_computation, &over_wires_computation,
    &parallelism_computation, &perpendicularity_computation, &position_computation,   &runout_computation,
    &sine_bar_computation,    &straightness_computation,     &sweep_computation,      &taper_computation,
    &temperature_computation, &two_balls_computation,        &two_rolls_computation,  &verdict_computation};

Expected<std::string> content_of(const std::string& file, Streams streams) {
  if (file == "-")
    return std::string{std::istreambuf_iterator<char>(streams.in), std::istreambuf_iterator<char>()};
  std::ifstream in(file, std::ios::binary);
  std::ostringstream out;
  if (in) out << in.rdbuf();
  if (!in || !out)
    return fail("cannot_read", "the file cannot be read, or nothing stands in it", file,
                "check its name and who may read it");
  return out.str();
}

Expected<boost::json::object> object_from(const std::string& text, const std::string& file) {
  boost::json::parser parser;
  boost::system::error_code code;
  const auto end = parser.write_some(text, code);
  const auto rest = text.find_first_not_of(" \t\r\n", end);
  const auto line = std::to_string(1 + std::count(text.begin(), text.begin() + static_cast<long>(end), '\n'));
  const auto place = (file == "-" ? "standard input" : file) + ":" + line;
  if (code || rest != std::string::npos)
    return fail("not_json", "this is no JSON: " + (code ? code.message() : "more stands behind its end"),
                place, "--example prints an input that works");
  auto value = parser.release();
  if (!value.is_object())
    return fail("not_json", "a JSON object is expected", place, "--example prints an input that works");
  return std::move(value.get_object());
}

/// With what a checklist writes for it, where it can be a derived feature.
boost::json::object listed(const Computation& one) {
  boost::json::object out{{"name", one.name}, {"about", one.about}};
  const auto derived = derive::computation_named(one.name);
  if (!derived) return out;
  boost::json::array inputs;
  for (std::size_t n = 0; n < (*derived)->inputs.size(); ++n) {
    const auto written = (*derived)->inputs[n];
    inputs.push_back(boost::json::object{{"name", written.substr(0, written.find_first_of(".?"))},
                                         {"kind", (*derived)->kinds[n]},
                                         {"list", written.find("...") != std::string_view::npos},
                                         {"may_be_missing", written.ends_with("?")}});
  }
  out["in_checklist"] = boost::json::object{{"inputs", std::move(inputs)},
                                            {"result", (*derived)->result},
                                            {"working", (*derived)->working},
                                            {"standard", (*derived)->source}};
  return out;
}

}  // namespace

std::span<const Computation* const> computations() {
  static const std::vector<Computation> derived = derived_computations(computation_table);
  static const std::vector<const Computation*> all = [] {
    std::vector<const Computation*> out(computation_table.begin(), computation_table.end());
    for (const auto& one : derived) out.push_back(&one);
    std::sort(out.begin(), out.end(), [](const auto* a, const auto* b) { return a->name < b->name; });
    return out;
  }();
  return all;
}

std::string word(const boost::json::object& answer, std::string_view key) {
  const auto* value = answer.if_contains(key);
  return value != nullptr && value->is_string() ? std::string(value->get_string()) : std::string();
}

int always_good(const boost::json::object&) { return status::good; }

int compute(const ComputeOptions& options, Streams streams) {
  const auto& computation = *options.computation;
  if (options.example) {
    streams.out << computation.example << '\n';
    return status::good;
  }
  auto input = options.arguments;
  if (options.input) {
    if (!input.empty())
      return say({"contradiction", "an input file and arguments are given", "--input", "keep one of both"},
                 options.json, streams);
    const auto content = content_of(*options.input, streams);
    if (!content) return say(content.error(), options.json, streams, status::not_done);
    const auto read = object_from(*content, *options.input);
    if (!read) return say(read.error(), options.json, streams);
    input = *read;
  }
  const auto answer = computation.derived ? derived_worked(computation.name, input) : computation.work(input);
  if (!answer) return say(answer.error(), options.json, streams);
  streams.out << (options.json ? boost::json::serialize(*answer) : computation.words(*answer)) << '\n';
  return computation.status_of(*answer);
}

int compute_list(const ComputeListOptions& options, Streams streams) {
  boost::json::array list;
  std::size_t widest = 0;
  for (const auto* one : computations()) widest = std::max(widest, one->name.size());
  for (const auto* one : computations()) {
    if (options.json)
      list.push_back(listed(*one));
    else
      streams.out << one->name << std::string(widest + 2 - one->name.size(), ' ') << one->about << '\n';
  }
  if (options.json) streams.out << boost::json::serialize(list) << '\n';
  return status::good;
}

}  // namespace tallystick::cli
