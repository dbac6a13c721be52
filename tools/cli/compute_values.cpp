// Units and verdicts.
#include <algorithm>

#include "daemon/measure/rounding.hpp"
#include "tools/cli/computations.hpp"

namespace tallystick::cli {
namespace {

using boost::json::object;

Expected<object> converted(const object& input) {
  InputFields fields(input);
  const auto text = fields.text("value");
  const auto from = fields.unit("from", fields.text("from"));
  const auto to = fields.unit("to", fields.text("to"));
  const auto value = fields.quantity("value", text, from);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto there = fields.taken("value", value.in(to));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  return object{{"value", there.text()}, {"unit", there.unit().name()}};
}

std::string converted_in_words(const object& answer) {
  return word(answer, "value") + " " + word(answer, "unit");
}

std::optional<Quantity> limit(InputFields& fields, const char* key, Unit unit) {
  const auto text = fields.optional_text(key);
  if (!text) return {};
  return fields.quantity(key, *text, unit);
}

/// The places to which a method rounds: as stated, else as the limits are written.
int decimals_of(InputFields& fields, const object& input) {
  if (const auto stated = fields.optional_text("decimals")) {
    const auto count = fields.quantity("decimals", *stated, *Unit::named("count")).count();
    if (count % 1'000'000'000 == 0 && count >= 0 && count <= 18'000'000'000)
      return static_cast<int>(count / 1'000'000'000);
    return fields.taken<int>("decimals", fail("out_of_range", quoted(*stated) + " is no count of decimals",
                                              {}, "a whole number of places, such as 3"));
  }
  std::size_t most = 0;
  for (const auto* key : {"lower", "upper"}) {
    const auto text = word(input, key);
    if (const auto point = text.find('.'); point != std::string::npos)
      most = std::max(most, text.size() - point - 1);
  }
  return static_cast<int>(std::min<std::size_t>(most, 18));
}

Expected<object> judged(const object& input) {
  InputFields fields(input);
  const auto text = fields.text("value");
  const auto unit = fields.unit("unit", fields.text("unit"));
  const auto other = fields.optional_text("value_unit");
  const auto value_unit = other ? fields.unit("value_unit", *other) : unit;
  const auto lower = limit(fields, "lower", unit), upper = limit(fields, "upper", unit);
  const auto value = fields.quantity("value", text, value_unit);
  const auto method =
      fields.taken("method", judging_method_named(fields.optional_text("method").value_or("absolute")));
  const bool rounds = method != JudgingMethod::absolute;
  if (!rounds && input.contains("decimals"))
    return fail("contradiction", "the absolute method rounds to no decimals", "decimals",
                "leave it out, or state a method that rounds");
  if (rounds) static_cast<void>(fields.optional_text("decimals"));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto limits = fields.taken("lower, upper", Limits::direct(lower, upper));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto decimals = rounds ? decimals_of(fields, input) : 0;
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto rounded = fields.taken("value", judge(limits, value, unit, decimals, method));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto& judgement = rounded.judgement;
  const auto shown = written(value, unit);
  const auto by = written(judgement.by, difference_unit(shown.unit));
  object out{{"value", shown.text},
             {"unit", shown.unit.name()},
             {"verdict", name(judgement.verdict)},
             {"side", name(judgement.side)},
             {"by", by.text},
             {"by_unit", by.unit.name()}};
  if (rounds) {
    out["method"] = name(method);
    out["decimals"] = decimals;
    out["judged_as"] = written(rounded.used, unit, decimals).text;
    out["standard"] = "ASTM E29, rounding method";
  }
  return out;
}

std::string judged_in_words(const object& answer) {
  auto out = word(answer, "value") + " " + word(answer, "unit");
  if (answer.contains("judged_as"))
    out += " judged as " + word(answer, "judged_as") + " (" + word(answer, "method") + ")";
  out += ": " + word(answer, "verdict");
  if (word(answer, "by") == "0") return out + ", on the " + word(answer, "side") + " limit";
  return out + ", " + word(answer, "by") + " " + word(answer, "by_unit") +
         (word(answer, "verdict") == "accept" ? " inside the " : " outside the ") + word(answer, "side") +
         " limit";
}

int status_of_verdict(const object& answer) {
  return word(answer, "verdict") == "accept" ? status::good : status::no;
}

}  // namespace

const Computation convert_computation = {"convert",
                                         "Write a value in another unit, exactly",
                                         R"({"value": "0.4375", "from": "in", "to": "mm"})",
                                         converted,
                                         converted_in_words,
                                         always_good};

const Computation verdict_computation = {
    "verdict",
    "Judge a value against limits; a value on a limit is inside",
    R"({"value": "25.0205", "lower": "25.000", "upper": "25.021", "unit": "mm"})",
    judged,
    judged_in_words,
    status_of_verdict};

}  // namespace tallystick::cli
