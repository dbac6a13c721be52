#include <algorithm>
#include <boost/json.hpp>
#include <chrono>
#include <map>
#include <ostream>
#include <random>
#include <thread>

#include "daemon/measure/stamp.hpp"
#include "daemon/record/configuration_files.hpp"
#include "tools/cli/client_commands.hpp"
#include "tools/cli/command_table.hpp"
#include "tools/cli/http_client.hpp"
#include "tools/cli/watch_port.hpp"

namespace tallystick::cli {
namespace {

namespace json = boost::json;

Expected<HttpClient> client_for(const DaemonOptions& options) {
  if (!options.daemon.empty()) {
    auto address = address_from(options.daemon);
    if (!address) return tl::unexpected(address.error());
    return HttpClient(std::move(*address));
  }
  DaemonAddress address;
  if (!options.config.empty()) {
    auto configuration = record::load_configuration(options.config);
    if (!configuration) return tl::unexpected(configuration.error());
    const auto& daemon = configuration->shop.daemon;
    if (daemon.port == 0)
      return fail("wrong_address", "the configuration leaves the port to the machine", options.config,
                  "say with --daemon what the daemon printed at its start");
    address.host = daemon.address;
    address.port = static_cast<std::uint16_t>(daemon.port);
  }
  return HttpClient(std::move(address));
}

int status_of(const Error& error) {
  for (const std::string_view code :
       {"no_daemon", "no_answer", "not_kept", "busy", "stopping", "cannot_read", "broken"})
    if (error.code == code) return status::not_done;
  return status::no;
}

// "a b c" of a value, for people: text without quotes, nothing for null.
std::string shown(const json::value& value) {
  if (value.is_null()) return {};
  if (value.is_string()) return std::string(value.get_string());
  return json::serialize(value);
}

// One line: the first text member leads, then "name value" of all scalar members that have one.
void print_row(const json::value& row, std::ostream& out) {
  if (!row.is_object()) {
    out << shown(row) << '\n';
    return;
  }
  bool first = true;
  for (const auto& member : row.get_object()) {
    const auto text = shown(member.value());
    if (text.empty() || member.value().is_object()) continue;
    out << (first ? "" : "  ");
    if (!first) out << std::string(member.key()) << ' ';
    out << text;
    first = false;
  }
  out << '\n';
}

void print(const json::value& value, bool as_json, std::ostream& out) {
  if (as_json) {
    out << json::serialize(value) << '\n';
  } else if (value.is_array()) {
    for (const auto& row : value.get_array()) print_row(row, out);
  } else if (value.is_object()) {
    for (const auto& member : value.get_object())
      out << std::string(member.key()) << ": " << shown(member.value()) << '\n';
  } else {
    out << shown(value) << '\n';
  }
}

std::string new_key() {
  std::random_device device;
  std::string out = "cli-";
  for (int part = 0; part < 4; ++part) {
    constexpr std::string_view digits = "0123456789abcdef";
    for (auto left = device(), count = 8U; count > 0; --count, left >>= 4U) out += digits[left & 15U];
  }
  return out;
}

Expected<json::object> body_of(const std::vector<std::string>& members) {
  json::object out;
  for (const auto& member : members) {
    const auto at = member.find('=');
    if (at == std::string::npos || at == 0)
      return fail("wrong_argument", "expected key=text or key:=JSON, found " + tallystick::quoted(member), {},
                  "for example person=Robin, first:=1");
    if (member[at - 1] != ':') {
      out[member.substr(0, at)] = member.substr(at + 1);
      continue;
    }
    boost::system::error_code code;
    auto value = json::parse(member.substr(at + 1), code);
    if (code)
      return fail("wrong_argument", "behind := stands no JSON: " + code.message(), member,
                  "key=text takes plain text");
    out[member.substr(0, at - 1)] = std::move(value);
  }
  return out;
}

// What the bench shows now, as the command's `saw`.
Expected<json::object> seen(HttpClient& client, const std::string& bench) {
  auto view = client.get("/api/v1/benches/" + bench);
  if (!view) return tl::unexpected(view.error());
  json::object saw;
  if (!view->is_object()) return saw;
  const auto& object = view->get_object();
  if (const auto* ask = object.if_contains("ask"); ask && ask->is_string()) saw["ask"] = *ask;
  if (const auto* walk = object.if_contains("walk"); walk && walk->is_object()) {
    for (const auto& [from, to] : {std::pair{"key", "walk"}, std::pair{"part", "part"}})
      if (const auto* value = walk->get_object().if_contains(from); value && value->is_string())
        saw[to] = *value;
  }
  return saw;
}

std::string text_member(const json::object& object, std::string_view name) {
  const auto* value = object.if_contains(name);
  return value ? shown(*value) : std::string();
}

std::int64_t number_member(const json::object& object, std::string_view name) {
  const auto* value = object.if_contains(name);
  return value && value->is_int64() ? value->get_int64() : 0;
}

/// The newest frames of a gauge that were shown.
struct Shown {
  std::int64_t utc_us = 0;
  std::size_t count = 0;
};

// Frames of `wanted` that were not shown yet.
bool print_new_frames(const json::value& recent, const std::string& wanted,
                      std::map<std::string, Shown>& newest, bool as_json, std::ostream& out) {
  bool found = false;
  if (!recent.is_array()) return false;
  for (const auto& entry : recent.get_array()) {
    if (!entry.is_object()) continue;
    const auto& gauge = entry.get_object();
    const auto id = text_member(gauge, "gauge");
    if (text_member(gauge, "port") != wanted && id != wanted) continue;
    found = true;
    const auto* frames = gauge.if_contains("frames");
    if (!frames || !frames->is_array()) continue;
    // Frames that came in one gulp have one time: those of the newest time that were shown are counted.
    auto& shown = newest[text_member(gauge, "port") + '/' + id];
    std::size_t same = 0;
    for (const auto& frame : frames->get_array()) {
      if (!frame.is_object()) continue;
      const auto utc_us = number_member(frame.get_object(), "utc_us");
      if (utc_us < shown.utc_us) continue;
      if (utc_us == shown.utc_us && ++same <= shown.count) continue;
      if (utc_us > shown.utc_us) {
        shown = {utc_us, 0};
        same = 1;
      }
      ++shown.count;
      print_frame(id, frame.get_object(), as_json, out);
    }
  }
  return found;
}

/// The error of an unknown name, with the name that was most likely meant. `path`: where the names are listed.
Error with_nearest(Error error, HttpClient& client, const std::string& written, const char* path, const char* member) {
  const auto rows = client.get(path);
  std::vector<std::string> known;
  if (rows && rows->is_array())
    for (const auto& row : rows->get_array())
      if (row.is_object()) known.push_back(text_member(row.get_object(), member));
  const auto meant = nearest(written, known);
  if (!meant.empty() && meant != written) error.hint = "did you mean \"" + meant + "\"?";
  return error;
}

Error named(Error error, HttpClient& client, const std::string& bench) {
  return error.code == "unknown_bench" ? with_nearest(std::move(error), client, bench, "/api/v1/benches", "bench") : error;
}

}  // namespace

void print_frame(const std::string& gauge, const json::object& frame, bool as_json, std::ostream& out) {
  if (as_json) {
    auto named = frame;
    named["gauge"] = gauge;
    out << json::serialize(named) << std::endl;
    return;
  }
  out << utc_text(number_member(frame, "utc_us")) << "  " << (gauge.empty() ? "-" : gauge) << "  ";
  if (const auto refusal = text_member(frame, "refusal"); !refusal.empty()) {
    out << "refused " << refusal << ' ' << text_member(frame, "detail");
  } else {
    out << text_member(frame, "cause") << ' ' << text_member(frame, "value") << ' '
        << text_member(frame, "unit") << ' ' << text_member(frame, "status");
  }
  out << "  " << text_member(frame, "bytes_hex") << std::endl;
}

int list(const ListOptions& options, Streams streams) {
  auto client = client_for(options.daemon);
  if (!client) return say(client.error(), options.json, streams);
  const bool view = options.subject.starts_with("bench/");
  auto found =
      client->get(view ? "/api/v1/benches/" + options.subject.substr(6) : "/api/v1/" + options.subject);
  if (!found)
    return say(named(found.error(), *client, view ? options.subject.substr(6) : ""), options.json, streams,
               status_of(found.error()));
  print(*found, options.json, streams.out);
  return status::good;
}

int ports(const PortsOptions& options, Streams streams) {
  auto client = client_for(options.daemon);
  if (!client && !options.watch.empty() && options.daemon.daemon.empty()) return watch_port(options, streams);
  if (!client) return say(client.error(), options.json, streams);
  if (options.watch.empty()) {
    auto found = client->get("/api/v1/ports");
    if (!found) return say(found.error(), options.json, streams, status_of(found.error()));
    print(*found, options.json, streams.out);
    return status::good;
  }
  std::map<std::string, Shown> newest;
  const auto begun = std::chrono::steady_clock::now();
  for (;;) {
    auto recent = client->get("/api/v1/ports/recent");
    // Without a daemon the port is free: it is opened here.
    if (!recent && recent.error().code == "no_daemon" && !options.daemon.config.empty())
      return watch_port(options, streams);
    if (!recent) return say(recent.error(), options.json, streams, status_of(recent.error()));
    if (!print_new_frames(*recent, options.watch, newest, options.json, streams.out))
      return say(with_nearest({"unknown_port", "no port and no gauge has this name", options.watch,
                               "tallystick ports lists them"},
                              *client, options.watch, "/api/v1/ports/recent", "gauge"),
                 options.json, streams, status::no);
    if (!streams.out) return status::not_done;
    const std::chrono::duration<double> watched = std::chrono::steady_clock::now() - begun;
    if (options.seconds > 0 && watched.count() >= options.seconds) return status::good;
    std::this_thread::sleep_for(std::chrono::milliseconds(200));
  }
}

int clear_suspects(const ClearSuspectsOptions& options, Streams streams) {
  if (options.results.empty() && options.gauge.empty() && options.lot.empty())
    return say({"wrong_argument", "nothing says which results", {}, "name their keys, or a --gauge or a --lot"}, options.json, streams);
  auto client = client_for(options.daemon);
  if (!client) return say(client.error(), options.json, streams);
  json::array results;
  for (const auto& key : options.results) results.emplace_back(key);
  if (results.empty()) {
    const auto listed = client->get("/api/v1/suspects");
    if (!listed) return say(listed.error(), options.json, streams, status_of(listed.error()));
    for (const auto& row : listed->as_array()) {
      const auto& each = row.as_object();
      const bool of_lot = options.lot.empty() || text_member(each, "lot") == options.lot || text_member(each, "lot_name") == options.lot;
      const bool of_gauge = options.gauge.empty() || text_member(each, "gauge") == options.gauge;
      if (of_lot && of_gauge) results.push_back(each.at("fact"));
    }
    if (results.empty())
      return say({"unknown_suspect", "no result of that gauge or lot stands suspect", {}, "tallystick suspects lists them"}, options.json,
                 streams, status::no);
  }
  std::string decision = options.decision;
  std::replace(decision.begin(), decision.end(), '-', '_');
  const json::object body{{"kind", "clear_suspect"}, {"idempotency_key", new_key()}, {"results", std::move(results)},
                          {"decision", decision}, {"person", options.person}, {"reason", options.reason},
                          {"note", options.note}, {"customer", options.customer}};
  const auto done = client->post("/api/v1/commands", body);
  if (!done) return say(done.error(), options.json, streams, status_of(done.error()));
  print(*done, options.json, streams.out);
  return status::good;
}

int command(const CommandOptions& options, Streams streams) {
  auto body = body_of(options.members);
  if (!body) return say(body.error(), options.json, streams);
  auto client = client_for(options.daemon);
  if (!client) return say(client.error(), options.json, streams);
  (*body)["kind"] = options.kind;
  (*body)["idempotency_key"] = options.idempotency_key.empty() ? new_key() : options.idempotency_key;
  const bool of_bench = !options.bench.empty() && options.bench != "-";
  if (of_bench && options.look) {
    auto saw = seen(*client, options.bench);
    if (!saw) return say(named(saw.error(), *client, options.bench), options.json, streams, status_of(saw.error()));
    (*body)["saw"] = std::move(*saw);
  }
  auto done =
      client->post(of_bench ? "/api/v1/benches/" + options.bench + "/commands" : "/api/v1/commands", *body);
  if (!done)
    return say(named(done.error(), *client, options.bench), options.json, streams, status_of(done.error()));
  print(*done, options.json, streams.out);
  return status::good;
}

}  // namespace tallystick::cli
