// `tallystick compute NAME` for every computation of the table of derived features
// (daemon/measure/derive.hpp) that has no richer command of its own: one adapter, so that nothing is worked
// out by a second formula here.
//
// Inputs are members, or stand under "from" (a formula's always do). A member's name is the input's and its
// unit, "outside_mm", "x_in", "angle_dms"; a number of no unit and a word have none. A sweep is {"turns",
// "readings_mm"}. Besides: "unit" of the result, "lower" and "upper" in it, "formula".
#include <algorithm>

#include "daemon/measure/derive.hpp"
#include "daemon/measure/limits.hpp"
#include "daemon/measure/proposal.hpp"
#include "tools/cli/computations.hpp"
#include "tools/cli/derived_examples.hpp"

namespace tallystick::cli {
namespace {

using boost::json::object;

std::string_view bare(std::string_view listed) { return listed.substr(0, listed.find_first_of(".?")); }

struct Member {
  std::string input;
  std::optional<Unit> unit;
};

/// "outside_mm" is the input "outside" in mm. Nothing: no unit ends the name.
std::optional<Member> with_unit(std::string_view key) {
  const auto cut = key.rfind('_');
  if (cut == std::string_view::npos || cut == 0) return {};
  auto name = std::string(key.substr(cut + 1));
  // "um_per_m_K" and "delta-degC" are written so that a member's name stays one word.
  const auto unit = Unit::named(name);
  if (!unit) return {};
  auto input = key.substr(0, cut);
  if (input.ends_with("_delta") && unit->dimension() == Dimension::temperature)
    return Member{std::string(input.substr(0, input.size() - 6)), difference_unit(*unit)};
  return Member{std::string(input), *unit};
}

/// Which input a member is: one of the computation's by name, with or without unit; of a formula any name.
Expected<Member> member_of(const derive::Computation& computation, std::string_view key,
                           const std::string& place) {
  const bool any_name = computation.inputs.empty();
  const auto united = with_unit(key);
  if (any_name) return united ? *united : Member{std::string(key), {}};
  std::vector<std::string_view> known;
  for (const auto listed : computation.inputs) {
    const auto name = bare(listed);
    if (key == name) return Member{std::string(name), {}};
    if (united && united->input == name) return *united;
    known.push_back(name);
  }
  return fail("unknown_field", quoted(key) + " is not asked for", place + std::string(key),
              proposal_of(key, known));
}

Expected<Quantity> quantity_at(const boost::json::value& value, Unit unit, const std::string& place) {
  const object one{{place, value}};
  InputFields fields(one);
  const auto text = fields.text(place);
  const auto out = fields.quantity(place, text, unit);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  return out;
}

Expected<derive::SweepFigures> sweep_at(const boost::json::value& value, const std::string& place) {
  if (!value.is_object())
    return fail("wrong_type", "an object with \"turns\" and \"readings_mm\" is expected", place,
                "--example prints an input that works");
  InputFields fields(value.get_object(), place + ".");
  const auto turns = fields.number("turns");
  const auto readings = fields.quantities("readings_mm");
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  return derive::sweep_figures(readings, turns);
}

std::string_view kind_of(const derive::Computation& computation, std::string_view input) {
  for (std::size_t n = 0; n < computation.inputs.size(); ++n)
    if (bare(computation.inputs[n]) == input) return computation.kinds[n];
  return "any";
}

/// One value or a list of them, all through `read`.
template <class T, class Read>
Done each(const boost::json::value& value, const std::string& place, std::vector<T>& out, Read read) {
  const auto* list = value.if_array();
  for (std::size_t n = 0; n < (list == nullptr ? 1 : list->size()); ++n) {
    auto one = read(list == nullptr ? value : (*list)[n],
                    list == nullptr ? place : place + "[" + std::to_string(n) + "]");
    if (!one) return tl::unexpected(one.error());
    out.push_back(std::move(*one));
  }
  return {};
}

Expected<derive::Input> input_of(const derive::Computation& computation, const Member& member,
                                 const boost::json::value& value, const std::string& place) {
  derive::Input out{member.input, {}, {}, {}};
  const auto kind = kind_of(computation, member.input);
  Done done;
  if (kind == "sweep") {
    done = each(value, place, out.sweeps, sweep_at);
  } else if (kind == "word") {
    if (!value.is_string())
      return fail("wrong_type", "a word in quotes is expected", place,
                  "--example prints an input that works");
    out.word = std::string(value.get_string());
  } else if (!member.unit && kind != "number") {
    return fail("wrong_unit", "the member's name does not end in a unit", place,
                "write it like " + quoted(member.input + "_mm"));
  } else {
    const auto unit = member.unit.value_or(*Unit::named("count"));
    done = each(value, place, out.values, [&](const boost::json::value& one, const std::string& where) {
      return quantity_at(one, unit, where);
    });
  }
  if (!done) return tl::unexpected(done.error());
  return out;
}

constexpr std::array besides = {"unit", "lower", "upper", "formula", "from"};

Expected<std::vector<derive::Input>> inputs_of(const derive::Computation& computation, const object& input) {
  const auto* from = input.if_contains("from");
  if (from != nullptr && !from->is_object())
    return fail("wrong_type", "an object is expected", "from", "--example prints an input that works");
  const auto& members = from == nullptr ? input : from->get_object();
  const std::string place = from == nullptr ? "" : "from.";
  std::vector<derive::Input> out;
  for (const auto& [key, value] : members) {
    if (from == nullptr && std::find(besides.begin(), besides.end(), key) != besides.end()) continue;
    const auto member = member_of(computation, key, place);
    if (!member) return tl::unexpected(member.error());
    auto one = input_of(computation, *member, value, place + std::string(key));
    if (!one) return tl::unexpected(one.error());
    out.push_back(std::move(*one));
  }
  return out;
}

/// The result's unit where the input does not say one.
Unit usual_unit(const derive::Computation& computation, const std::vector<derive::Input>& inputs) {
  if (computation.result == "angle") return *Unit::named("deg");
  if (computation.result == "number") return *Unit::named("ratio");
  for (const auto& one : inputs) {
    if (one.values.empty()) continue;
    const auto unit = one.values.front().unit();
    if (computation.result == "length") return unit.dimension() == Dimension::length ? unit : Unit();
    const bool of_difference = computation.name == "range" || computation.name == "difference";
    return of_difference ? difference_unit(unit) : unit;
  }
  return Unit();
}

Done put_judgement(object& out, InputFields& fields, Quantity value, Unit unit) {
  const auto stated = [&](const char* key) -> std::optional<Quantity> {
    const auto text = fields.optional_text(key);
    if (!text) return {};
    return fields.quantity(key, *text, unit);
  };
  const auto lower = stated("lower"), upper = stated("upper");
  if (!fields.fault() && (lower || upper)) {
    const auto limits = fields.taken("lower, upper", Limits::direct(lower, upper));
    if (!fields.fault()) {
      const auto judgement = fields.taken("value", judge(limits, value));
      out["verdict"] = name(judgement.verdict);
      out["side"] = name(judgement.side);
      out["by"] = written(judgement.by, unit).text;
    }
  }
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  return {};
}

}  // namespace

Expected<object> derived_worked(std::string_view name, const object& input) {
  const auto computation = derive::computation_named(name);
  if (!computation) return tl::unexpected(computation.error());
  const auto inputs = inputs_of(**computation, input);
  if (!inputs) return tl::unexpected(inputs.error());
  object rest;  // what is no input
  for (const auto& [key, value] : input)
    if (std::find(besides.begin(), besides.end(), key) != besides.end() || input.contains("from"))
      rest[key] = value;
  rest.erase("from");
  InputFields fields(rest);
  const auto formula = fields.optional_text("formula").value_or("");
  const auto stated = fields.optional_text("unit");
  const auto unit = stated ? fields.unit("unit", *stated) : usual_unit(**computation, *inputs);
  object out;
  if (auto done = put_judgement(out, fields, Quantity::of_count(0, unit), unit); !done)
    return tl::unexpected(done.error());
  const auto found = derive::derive(name, formula, *inputs, unit);
  if (!found) return tl::unexpected(found.error());
  const auto shown = written(found->value, unit);
  out = object{{"value", shown.text}, {"unit", shown.unit.name()}, {"unrounded", found->unrounded}};
  if (auto done = put_judgement(out, fields, found->value, unit); !done) return tl::unexpected(done.error());
  boost::json::array lines;
  for (const auto& line : found->working)
    lines.push_back(object{{"name", line.name}, {"value", line.value}, {"unit", line.unit}});
  out["lines"] = std::move(lines);
  out["working"] = formula.empty() ? std::string((*computation)->working) : formula;
  out["standard"] = (*computation)->source;
  return out;
}

std::string derived_in_words(const object& answer) {
  auto out = word(answer, "value") + " " + word(answer, "unit");
  if (answer.contains("verdict")) {
    const bool accepts = word(answer, "verdict") == "accept";
    out += ": " + word(answer, "verdict") + ", " + word(answer, "by") +
           (accepts ? " inside the " : " outside the ") + word(answer, "side") + " limit";
  }
  for (const auto& line : answer.at("lines").as_array()) {
    const auto& one = line.as_object();
    const auto unit = word(one, "unit");
    out += "\n  " + word(one, "name") + " = " + word(one, "value") + (unit == "1" ? "" : " " + unit);
  }
  return out + "\n" + word(answer, "working") + "\n" + word(answer, "standard");
}

std::vector<Computation> derived_computations(std::span<const Computation* const> richer) {
  std::vector<Computation> out;
  for (const auto& one : derive::computations()) {
    const bool has_its_own = std::any_of(richer.begin(), richer.end(),
                                         [&](const Computation* other) { return other->name == one.name; });
    if (has_its_own) continue;
    Computation computation;
    computation.name = one.name;
    computation.about = one.about;
    computation.example = derived_example(one.name);
    computation.words = derived_in_words;
    computation.status_of = status_of_answer;
    computation.derived = true;
    out.push_back(computation);
  }
  return out;
}

}  // namespace tallystick::cli
