#include "tools/cli/gauge_files.hpp"

#include <algorithm>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>

#include "daemon/record/configuration_files.hpp"
#include "daemon/record/folder.hpp"

namespace tallystick::cli {

namespace files = std::filesystem;

namespace {

constexpr const char* service_configuration = "/etc/tallystick";

Done add_folder(const std::string& folder, std::map<std::string, std::shared_ptr<const Dialect>>& out) {
  std::error_code code;
  for (files::directory_iterator at(folder, code), end; !code && at != end; at.increment(code)) {
    if (!at->path().string().ends_with(".dialect.toml")) continue;
    const auto text = content_of(at->path().string());
    if (!text) return tl::unexpected(text.error());
    auto read = read_dialect(*text, at->path().string());
    if (!read) continue;
    const std::string name = read->name;
    out[name] = std::make_shared<const Dialect>(*std::move(read));
  }
  if (code)
    return fail("cannot_read", "the folder cannot be read: " + code.message(), folder, "check its name");
  return {};
}

}  // namespace

Expected<KnownDialects> known_dialects(const LearnOptions& options) {
  std::map<std::string, std::shared_ptr<const Dialect>> found;
  KnownDialects out;
  out.port_path = options.port;
  const bool by_name = !options.port.empty() && options.port.front() != '/' && options.port.front() != '.';
  const bool own =
      options.config.empty() && files::exists(files::path(service_configuration) / "tallystick.toml");
  if (!options.config.empty() || own) {
    const auto loaded = record::load_configuration(own ? service_configuration : options.config);
    if (!loaded && !own) return tl::unexpected(loaded.error());
    if (loaded) {
      for (const auto& [name, dialect] : loaded->dialects)
        found[name] = std::make_shared<const Dialect>(dialect);
      const auto port = std::ranges::find(loaded->shop.ports, options.port, &shop::PortCard::id);
      if (by_name && port != loaded->shop.ports.end()) out.port_path = port->path;
    }
  }
  if (by_name && out.port_path == options.port)
    return fail("unknown_port", "no port of a configuration has this name", options.port,
                "write the line's path (/dev/serial/by-id/...), or name the configuration with --config");
  for (const auto& folder : options.dialects) {
    if (auto done = add_folder(folder, found); !done) return tl::unexpected(done.error());
  }
  for (auto& [name, dialect] : found) out.dialects.push_back(std::move(dialect));
  return out;
}

Expected<std::string> content_of(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::string text{std::istreambuf_iterator<char>(in), {}};
  if (!in.is_open() || in.bad())
    return fail("cannot_read", "the file cannot be read", path, "check its name and who may read it");
  return text;
}

Done write_new(const std::string& path, const std::string& bytes) {
  std::error_code code;
  if (files::exists(files::symlink_status(path, code)))
    return fail("cannot_write", "there is a file already, and it is left as it is", path,
                "choose another name with --name, or another folder");
  return record::write_durably(path, bytes);
}

std::string configuration_lines(const std::string& path, const std::string& dialect) {
  return "[[port]]\nid = \"" + dialect + "\"\npath = \"" + path + "\"\ndialect = \"" + dialect +
         "\"\n\n[[gauge]]\nid = \"" + dialect +
         "\"\nname = \"...\"\nkind = \"...\"\nbench = \"bench-1\"\nport = \"" + dialect +
         "\"\nunit = \"mm\"\nrange_lower = \"...\"\nrange_upper = \"...\"\nresolution = \"0.001\"\n"
         "reads = \"size\"\nspeaks = \"pushed\"\n";
}

std::string date_today() {
  const std::time_t now = std::time(nullptr);
  std::tm parts{};
  ::gmtime_r(&now, &parts);
  std::array<char, 16> out{};
  std::strftime(out.data(), out.size(), "%Y-%m-%d", &parts);
  return out.data();
}

}  // namespace tallystick::cli
