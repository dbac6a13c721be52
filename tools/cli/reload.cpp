#include <algorithm>
#include <ostream>
#include <vector>

#include "tools/cli/client_commands.hpp"
#include "tools/cli/daemon_addresses.hpp"

namespace tallystick::cli {
namespace {

namespace json = boost::json;

/// "tallystick.toml:12: port x: what (remedy)" a line.
void print_faults(HttpClient& client, std::ostream& err) {
  const auto faults = client.get("/api/v1/faults");
  if (!faults || !faults->is_array()) return;
  for (const auto& fault : faults->get_array()) {
    const auto member = [&](const char* name) {
      const auto* value = fault.is_object() ? fault.get_object().if_contains(name) : nullptr;
      return value && value->is_string() ? std::string(value->get_string()) : std::string();
    };
    if (member("code") == "reload_refused") continue;  // said already
    if (member("severity") == "warning") continue;
    err << "  " << member("where") << ": " << member("what");
    if (const auto hint = member("hint"); !hint.empty()) err << " (" << hint << ')';
    err << '\n';
  }
}

}  // namespace

int reload(const ReloadOptions& options, Streams streams) {
  const auto all = daemon_addresses(options.daemon);
  if (!all) return say(all.error(), options.json, streams, status::not_understood);
  Error none{"no_daemon", "no daemon was found", "", "start it, or name it with --daemon"};
  for (const auto& address : *all) {
    HttpClient client(address, std::chrono::seconds(60));
    const auto answer = client.post("/api/v1/reload", json::object{});
    if (!answer && answer.error().code == "no_daemon") {
      none = answer.error();
      continue;
    }
    if (!answer) {
      const bool refused = answer.error().code == "reload_refused";
      const int ended = say(answer.error(), options.json, streams, refused ? status::no : status::not_done);
      if (refused) print_faults(client, streams.err);
      return ended;
    }
    if (options.json) {
      streams.out << json::serialize(*answer) << '\n';
      return status::good;
    }
    const auto* changed = answer->is_object() ? answer->get_object().if_contains("changed") : nullptr;
    if (changed && changed->is_array() && !changed->get_array().empty())
      for (const auto& line : changed->get_array()) streams.out << line.get_string().c_str() << '\n';
    else
      streams.out << "taken; nothing changed\n";
    return status::good;
  }
  return say(none, options.json, streams, status::not_done);
}

}  // namespace tallystick::cli
