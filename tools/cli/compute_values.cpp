// Units and verdicts.
#include "daemon/measure/limits.hpp"
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

Expected<object> judged(const object& input) {
  InputFields fields(input);
  const auto text = fields.text("value");
  const auto unit = fields.unit("unit", fields.text("unit"));
  const auto other = fields.optional_text("value_unit");
  const auto value_unit = other ? fields.unit("value_unit", *other) : unit;
  const auto lower = limit(fields, "lower", unit), upper = limit(fields, "upper", unit);
  const auto value = fields.quantity("value", text, value_unit);
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto limits = fields.taken("lower, upper", Limits::direct(lower, upper));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto judgement = fields.taken("value", judge(limits, value));
  if (const auto fault = fields.fault()) return tl::unexpected(*fault);
  const auto shown = written(value, unit);
  const auto by = written(judgement.by, difference_unit(shown.unit));
  return object{{"value", shown.text},
                {"unit", shown.unit.name()},
                {"verdict", name(judgement.verdict)},
                {"side", name(judgement.side)},
                {"by", by.text},
                {"by_unit", by.unit.name()}};
}

std::string judged_in_words(const object& answer) {
  const auto out = word(answer, "value") + " " + word(answer, "unit") + ": " + word(answer, "verdict");
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
