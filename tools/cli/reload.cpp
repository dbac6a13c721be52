#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <ostream>
#include <vector>

#include "daemon/record/configuration_files.hpp"
#include "tools/cli/client_commands.hpp"
#include "tools/cli/http_client.hpp"

namespace tallystick::cli {
namespace {

namespace json = boost::json;
namespace files = std::filesystem;

constexpr const char* service_configuration = "/etc/tallystick";

/// The socket in the folder that the service manager makes for the daemon.
std::string service_socket() {
  const char* runtime = std::getenv("RUNTIME_DIRECTORY");
  const std::string folder =
      runtime ? std::string(runtime).substr(0, std::string_view(runtime).find(':')) : "";
  return (folder.empty() ? std::string("/run/tallystick") : folder) + "/tallystick.sock";
}

Expected<std::vector<DaemonAddress>> candidates(const DaemonOptions& options) {
  std::vector<DaemonAddress> out;
  if (!options.daemon.empty()) {
    auto named = address_from(options.daemon);
    if (!named) return tl::unexpected(named.error());
    out.push_back(std::move(*named));
    return out;
  }
  std::error_code code;
  const auto add_socket = [&](const files::path& path) {
    DaemonAddress address;
    address.socket = path.string();
    if (files::is_socket(path, code)) out.push_back(std::move(address));
  };
  const auto config = options.config.empty() ? std::string(service_configuration) : options.config;
  if (record::configuration_file(config) == record::configuration_file(service_configuration))
    add_socket(service_socket());
  DaemonAddress address;
  if (auto loaded = record::load_configuration(config, {.dialects = false})) {
    add_socket(files::path(loaded->shop.daemon.data) / "tallystick.sock");
    address.host = loaded->shop.daemon.address;
    if (loaded->shop.daemon.port != 0) address.port = static_cast<std::uint16_t>(loaded->shop.daemon.port);
  } else if (!options.config.empty()) {
    return tl::unexpected(loaded.error());
  }
  out.push_back(std::move(address));
  return out;
}

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
  const auto all = candidates(options.daemon);
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
