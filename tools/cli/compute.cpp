#include <boost/json.hpp>
#include <ostream>

#include "daemon/measure/limits.hpp"
#include "daemon/measure/quantity.hpp"
#include "tools/cli/commands.hpp"

namespace tallystick::cli {
namespace {

// Names the argument in which a fault was found.
template <class T>
Expected<T> at(Expected<T> result, const char* argument) {
  if (!result && result.error().where.empty()) result.error().where = argument;
  return result;
}

Expected<Quantity> converted(const ConvertOptions& options) {
  const auto from = at(Unit::named(options.from), "FROM");
  if (!from) return tl::unexpected(from.error());
  const auto to = at(Unit::named(options.to), "TO");
  if (!to) return tl::unexpected(to.error());
  const auto value = at(Quantity::parse(options.value, *from), "VALUE");
  if (!value) return value;
  return value->in(*to);
}

struct Judged {
  Quantity value;
  Judgement judgement;
  Unit unit;  ///< in which the value is written
};

Expected<std::optional<Quantity>> limit(const std::optional<std::string>& text, Unit unit,
                                        const char* argument) {
  if (!text) return std::optional<Quantity>();
  const auto quantity = at(Quantity::parse(*text, unit), argument);
  if (!quantity) return tl::unexpected(quantity.error());
  return *quantity;
}

Expected<Judged> judged(const VerdictOptions& options) {
  const auto unit = at(Unit::named(options.unit), "--unit");
  if (!unit) return tl::unexpected(unit.error());
  const auto value_unit =
      options.value_unit.empty() ? unit : at(Unit::named(options.value_unit), "--value-unit");
  if (!value_unit) return tl::unexpected(value_unit.error());
  const auto lower = limit(options.lower, *unit, "--lower");
  if (!lower) return tl::unexpected(lower.error());
  const auto upper = limit(options.upper, *unit, "--upper");
  if (!upper) return tl::unexpected(upper.error());
  const auto limits = at(Limits::direct(*lower, *upper), "--lower, --upper");
  if (!limits) return tl::unexpected(limits.error());
  const auto value = at(Quantity::parse(options.value, *value_unit), "VALUE");
  if (!value) return tl::unexpected(value.error());
  const auto judgement = at(judge(*limits, *value), "VALUE");
  if (!judgement) return tl::unexpected(judgement.error());
  return Judged{*value, *judgement, written(*value, *unit).unit};
}

std::string in_words(const Judged& judged) {
  const auto& judgement = judged.judgement;
  const auto value = written(judged.value, judged.unit);
  const auto by = written(judgement.by, difference_unit(judged.unit));
  std::string out =
      value.text + " " + std::string(value.unit.name()) + ": " + std::string(name(judgement.verdict));
  if (judgement.by.count() == 0) return out + ", on the " + std::string(name(judgement.side)) + " limit";
  return out + ", " + by.text + " " + std::string(by.unit.name()) +
         (judgement.verdict == Verdict::accept ? " inside the " : " outside the ") +
         std::string(name(judgement.side)) + " limit";
}

boost::json::object in_json(const Judged& judged) {
  const auto value = written(judged.value, judged.unit);
  const auto by = written(judged.judgement.by, difference_unit(judged.unit));
  return {{"value", value.text},
          {"unit", value.unit.name()},
          {"verdict", name(judged.judgement.verdict)},
          {"side", name(judged.judgement.side)},
          {"by", by.text},
          {"by_unit", by.unit.name()}};
}

}  // namespace

int compute_convert(const ConvertOptions& options, Streams streams) {
  const auto value = converted(options);
  if (!value) return say(value.error(), options.json, streams);
  if (options.json) {
    streams.out << boost::json::serialize(
                       boost::json::object{{"value", value->text()}, {"unit", value->unit().name()}})
                << '\n';
  } else {
    streams.out << value->text() << ' ' << value->unit().name() << '\n';
  }
  return status::good;
}

int compute_verdict(const VerdictOptions& options, Streams streams) {
  const auto result = judged(options);
  if (!result) return say(result.error(), options.json, streams);
  streams.out << (options.json ? boost::json::serialize(in_json(*result)) : in_words(*result)) << '\n';
  return result->judgement.verdict == Verdict::accept ? status::good : status::no;
}

}  // namespace tallystick::cli
