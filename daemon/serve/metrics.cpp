#include "daemon/serve/metrics.hpp"

#include <array>
#include <map>
#include <string_view>
#include <utility>
#include <vector>

namespace tallystick::serve {
namespace {

namespace json = boost::json;
using Labels = std::vector<std::pair<std::string_view, std::string>>;

/// Escapes of the text format: backslash, quote, line feed.
std::string escaped(std::string_view text) {
  std::string out;
  for (const char letter : text) {
    if (letter == '\n') {
      out += "\\n";
      continue;
    }
    if (letter == '\\' || letter == '"') out += '\\';
    out += letter;
  }
  return out;
}

class Text {
 public:
  /// Begins a family: every sample of it must follow before the next one begins.
  void family(std::string_view name, std::string_view type, std::string_view help) {
    name_ = "tallystick_" + std::string(name);
    suffix_ = type == "counter" ? "_total" : type == "info" ? "_info" : "";
    out_ += "# TYPE " + name_ + ' ' + std::string(type) + "\n# HELP " + name_ + ' ' + escaped(help) + '\n';
  }
  void unit(std::string_view unit) { out_ += "# UNIT " + name_ + ' ' + std::string(unit) + '\n'; }
  void sample(const std::string& value, const Labels& labels = {}) {
    out_ += name_ + suffix_;
    const char* before = "{";
    for (const auto& [name, text] : labels) {
      out_ += before + std::string(name) + "=\"" + escaped(text) + '"';
      before = ",";
    }
    if (!labels.empty()) out_ += '}';
    out_ += ' ' + value + '\n';
  }
  void sample(std::size_t value, const Labels& labels = {}) { sample(std::to_string(value), labels); }
  std::string end() && { return std::move(out_) + "# EOF\n"; }

 private:
  std::string out_, name_, suffix_;
};

std::string text_of(const json::object& row, std::string_view name) {
  const auto* value = row.if_contains(name);
  return value && value->is_string() ? std::string(value->as_string()) : std::string();
}

std::int64_t count_of(const json::object& row, std::string_view name) {
  const auto* value = row.if_contains(name);
  if (!value) return 0;
  return value->is_int64()    ? value->as_int64()
         : value->is_uint64() ? static_cast<std::int64_t>(value->as_uint64())
                              : 0;
}

bool is_true(const json::object& row, std::string_view name) {
  const auto* value = row.if_contains(name);
  return value && value->is_bool() && value->as_bool();
}

template <class Each>
void each(const json::value& rows, Each visit) {
  if (const auto* array = rows.if_array())
    for (const auto& row : *array)
      if (const auto* object = row.if_object()) visit(*object);
}

std::size_t size_of(const json::value& rows) { return rows.is_array() ? rows.as_array().size() : 0; }

/// UTC seconds with six digits, exactly.
std::string seconds(std::int64_t utc_us) {
  auto digits = std::to_string(utc_us % 1'000'000);
  return std::to_string(utc_us / 1'000'000) + '.' + std::string(6 - digits.size(), '0') + digits;
}

void tell_ports(Text& out, const json::value& ports) {
  constexpr std::array<std::string_view, 6> states{"absent", "opening", "open",
                                                   "silent", "lost",    "backing_off"};
  out.family("port_state", "stateset", "How the port stands.");
  each(ports, [&](const json::object& port) {
    for (const auto state : states)
      out.sample(text_of(port, "state") == state ? 1U : 0U,
                 {{"port", text_of(port, "port")}, {"tallystick_port_state", std::string(state)}});
  });
  struct Counter {
    std::string_view name, member, help, unit;
  };
  constexpr std::array<Counter, 5> counters{
      {{"port_received_bytes", "bytes", "Bytes received since the start.", "bytes"},
       {"port_losses", "losses", "How often the port was lost since the start.", ""},
       {"port_late_replies", "late_replies", "Answers that came after their time: never taken.", ""},
       {"port_unsolicited", "unsolicited", "Frames of an asked gauge that answer no request: never taken.",
        ""},
       {"port_unanswered", "unanswered", "Requests given up after all retries.", ""}}};
  for (const auto& counter : counters) {
    out.family(counter.name, "counter", counter.help);
    if (!counter.unit.empty()) out.unit(counter.unit);
    each(ports, [&](const json::object& port) {
      out.sample(std::to_string(count_of(port, counter.member)), {{"port", text_of(port, "port")}});
    });
  }
  out.family("port_last_heard_timestamp_seconds", "gauge",
             "UTC of the last whole good frame; absent until one came.");
  out.unit("seconds");
  each(ports, [&](const json::object& port) {
    if (const auto heard = count_of(port, "last_heard_utc_us"); heard > 0)
      out.sample(seconds(heard), {{"port", text_of(port, "port")}});
  });
}

void tell_readings(Text& out, const json::value& recent) {
  out.family("readings", "counter", "Readings decoded since the start, counted by a walk or not.");
  each(recent, [&](const json::object& gauge) {
    if (const auto id = text_of(gauge, "gauge"); !id.empty())
      out.sample(std::to_string(count_of(gauge, "readings")), {{"gauge", id}});
  });
  out.family("refused_frames", "counter", "Frames that became no reading, by reason, since the start.");
  // Of a port whose frames name no gauge, the gauge is empty.
  std::map<std::array<std::string, 3>, std::int64_t> refused;
  each(recent, [&](const json::object& gauge) {
    if (const auto* reasons = gauge.if_contains("refusals"); reasons && reasons->is_object())
      for (const auto& reason : reasons->as_object())
        refused[{text_of(gauge, "port"), text_of(gauge, "gauge"), std::string(reason.key())}] +=
            count_of(reasons->as_object(), reason.key());
  });
  for (const auto& [key, count] : refused)
    out.sample(std::to_string(count), {{"port", key[0]}, {"gauge", key[1]}, {"reason", key[2]}});
}

void tell_house(Text& out, const Measured& measured) {
  out.family("build", "info", "The version that runs.");
  out.sample(1U, {{"version", measured.version}});
  out.family("keeping", "gauge", "1: readings are being kept; 0: the record cannot be written.");
  out.sample(measured.kept ? 1U : 0U);
  const auto* clock = measured.health.if_contains("clock");
  out.family("clock_trusted", "gauge", "1: UTC counts as right.");
  out.sample(clock && clock->is_object() && is_true(clock->as_object(), "trusted") ? 1U : 0U);
  out.family("journal_branch", "gauge", "The branch that the journal is in; above 1 after a restore.");
  out.sample(std::to_string(count_of(measured.health, "branch")));
  out.family("configuration_faults", "gauge", "Faults and warnings of the configuration.");
  out.sample(measured.faults);
  out.family("connections", "gauge", "Open HTTP connections, this one included.");
  out.sample(measured.connections);
  out.family("benches", "gauge", "Benches in the configuration.");
  out.sample(measured.benches);
  out.family("walks", "gauge", "Walks that are open or parked.");
  out.sample(size_of(measured.walks));
  out.family("suspect_results", "gauge", "Results whose gauge or master later failed, not cleared.");
  out.sample(size_of(measured.suspects));
}

}  // namespace

std::string metrics_text(const Measured& measured) {
  Text out;
  tell_house(out, measured);
  out.family("gauge_may_be_used", "gauge", "1: the gauge may be used now; 0: due, failed or not set.");
  each(measured.gauges, [&](const json::object& gauge) {
    out.sample(is_true(gauge, "fit") ? 1U : 0U,
               {{"gauge", text_of(gauge, "id")}, {"bench", text_of(gauge, "bench")}});
  });
  tell_ports(out, measured.ports);
  tell_readings(out, measured.recent);
  return std::move(out).end();
}

}  // namespace tallystick::serve
