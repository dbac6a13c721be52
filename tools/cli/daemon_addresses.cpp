#include "tools/cli/daemon_addresses.hpp"

#include <cstdlib>
#include <filesystem>
#include <string_view>

#include "daemon/record/configuration_files.hpp"

namespace tallystick::cli {
namespace {

namespace files = std::filesystem;

constexpr const char* service_configuration = "/etc/tallystick";

/// The socket in the folder that the service manager makes for the daemon.
std::string service_socket() {
  const char* runtime = std::getenv("RUNTIME_DIRECTORY");
  const std::string folder =
      runtime ? std::string(runtime).substr(0, std::string_view(runtime).find(':')) : "";
  return (folder.empty() ? std::string("/run/tallystick") : folder) + "/tallystick.sock";
}

}  // namespace

Expected<std::vector<DaemonAddress>> daemon_addresses(const DaemonOptions& options) {
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

}  // namespace tallystick::cli
