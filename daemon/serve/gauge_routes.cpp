#include "daemon/serve/gauge_routes.hpp"

#include "daemon/serve/routes.hpp"

namespace tallystick::serve {
namespace {

namespace json = boost::json;

/// The gauge's row of the register; null where there is none.
json::value row_of(const walk::DeskDoor& desk, const std::string& gauge) {
  const auto all = desk.list("gauges");
  if (const auto* rows = all.if_array())
    for (const auto& row : *rows)
      if (const auto* id = row.as_object().if_contains("id");
          id && id->is_string() && id->as_string() == gauge)
        return row;
  return nullptr;
}

tl::unexpected<Error> unknown(const std::string& gauge) {
  return fail("unknown_gauge", "there is no gauge " + quoted(gauge.substr(0, 40)), "gauge",
              "GET /api/v1/gauges lists them");
}

Answer shown(const GaugeSeams& seams, const std::string& gauge) {
  auto trial = seams.trial(gauge);
  return json_answer(trial.is_null() ? json::value(json::object{{"gauge", gauge}, {"state", "none"}})
                                     : std::move(trial));
}

Expected<Answer> try_gauge(const GaugeSeams& seams, const Request& request) {
  const auto& gauge = request.captured.at("gauge");
  const auto body = object_from(request.body);
  if (!body) return tl::unexpected(body.error());
  const auto row = row_of(seams.desk, gauge);
  if (row.is_null()) return unknown(gauge);
  if (const auto* stop = body->if_contains("stop"); stop && stop->is_bool() && stop->as_bool()) {
    seams.stop(gauge);
    return shown(seams, gauge);
  }
  if (const auto bench = bench_in_walk(seams.desk, gauge); bench && !bench->empty())
    return fail("not_now", "a walk is active at " + *bench + ": a reading of this gauge belongs to it",
                "gauge " + gauge, "park the walk at the bench page, or look at the walk's own readings");
  if (auto begun = seams.begin(gauge); !begun) return tl::unexpected(begun.error());
  return shown(seams, gauge);
}

}  // namespace

std::optional<std::string> bench_in_walk(const walk::DeskDoor& desk, const std::string& gauge) {
  const auto row = row_of(desk, gauge);
  if (row.is_null()) return std::nullopt;
  const std::string bench(row.at("bench").as_string());
  const auto view = desk.view(bench);
  const auto* object = view.if_object();
  const auto* walk = object ? object->if_contains("walk") : nullptr;
  return walk && walk->is_object() ? bench : std::string();
}

std::vector<Route> gauge_routes(GaugeSeams seams) {
  const std::string path = "/api/v1/gauges/{gauge}/try";
  return {{path, [seams](const Request& request) { return try_gauge(seams, request); }, "POST", true},
          {path,
           [seams](const Request& request) -> Expected<Answer> {
             const auto& gauge = request.captured.at("gauge");
             if (row_of(seams.desk, gauge).is_null()) return unknown(gauge);
             return shown(seams, gauge);
           },
           "GET", true}};
}

}  // namespace tallystick::serve
