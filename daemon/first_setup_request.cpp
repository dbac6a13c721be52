#include "daemon/first_setup_request.hpp"

#include <unistd.h>

#include <algorithm>
#include <cstdlib>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/configuration_files.hpp"
#include "drivers/decode/dialect.hpp"
#include "drivers/ports/found_ports.hpp"

namespace tallystick {
namespace {

namespace files = std::filesystem;
namespace json = boost::json;

/// Where the dialects lie that came with the program: installed beside it, or in the tree that it was built
/// in.
std::vector<std::string> own_dialect_folders() {
  std::error_code code;
  const auto program = files::canonical("/proc/self/exe", code).parent_path();
  for (const auto* place : {"../share/tallystick/dialects", "../../../config/dialects"}) {
    const auto folder = (program / place).lexically_normal();
    if (files::is_directory(folder, code)) return {folder.string()};
  }
  return {};
}

/// Below the service manager's folder, because the head file lies beside the record; else beside the
/// configuration.
std::string data_folder() {
  const char* state = std::getenv("STATE_DIRECTORY");
  const std::string folder = state ? std::string(state).substr(0, std::string_view(state).find(':')) : "";
  return folder.empty() ? "data" : folder + "/data";
}

/// The folder itself, or the first above it that exists: the first setup makes what is missing between.
files::path nearest_there(files::path folder) {
  std::error_code code;
  while (!files::exists(folder, code) && folder.has_relative_path()) folder = folder.parent_path();
  return folder;
}

json::array dialects_offered() {
  json::array out;
  for (const auto& folder : own_dialect_folders()) {
    std::error_code code;
    std::vector<files::path> found;
    for (files::directory_iterator entry(folder, code), end; !code && entry != end; entry.increment(code))
      if (entry->path().filename().string().ends_with(".dialect.toml")) found.push_back(entry->path());
    std::sort(found.begin(), found.end());
    for (const auto& path : found) {
      const auto bytes = record::bytes_of_file(path);
      if (!bytes) continue;
      const auto dialect = read_dialect(*bytes, path.filename().string());
      if (!dialect) continue;
      out.push_back({{"name", dialect->name},
                     {"about", dialect->about},
                     {"speaks", std::string(name(dialect->speaks))}});
    }
  }
  return out;
}

bool is_id(const std::string& text) {
  return !text.empty() && text.size() <= 40 && std::all_of(text.begin(), text.end(), [](char letter) {
    return (letter >= 'a' && letter <= 'z') || (letter >= '0' && letter <= '9') || letter == '-';
  });
}

/// A text of at most 100 letters without control characters.
Done take(const json::object& from, const char* name, bool needed, std::string& out,
          const std::string& where) {
  const auto* value = from.if_contains(name);
  if (value && value->is_string())
    out = std::string(value->get_string());
  else if (value && !value->is_null())
    return fail("wrong_shape", "expected a text", where + name);
  if (out.empty() && needed) return fail("wrong_shape", "it is missing", where + name, "fill it in");
  if (out.size() > 200)
    return fail("wrong_shape", "it is longer than 200 letters", where + name, "shorten it");
  if (std::any_of(out.begin(), out.end(),
                  [](char letter) { return static_cast<unsigned char>(letter) < 0x20; }))
    return fail("wrong_shape", "it holds a control character", where + name, "type it anew");
  return {};
}

Expected<FirstPort> port_from(const json::value& value, std::size_t number) {
  const auto where = "port " + std::to_string(number) + ", ";
  if (!value.is_object()) return fail("wrong_shape", "expected an object", where);
  FirstPort port;
  for (const auto& [name, out] :
       {std::pair{"id", &port.id}, {"path", &port.path}, {"dialect", &port.dialect}})
    if (auto done = take(value.get_object(), name, true, *out, where); !done)
      return tl::unexpected(done.error());
  if (!is_id(port.id))
    return fail("wrong_shape", "\"" + port.id + "\" is no id", where + "id",
                "small letters, digits and -, at most 40");
  if (port.path.front() != '/')
    return fail("wrong_shape", "\"" + port.path + "\" is no whole path", where + "path", "begin with /dev/");
  return port;
}

}  // namespace

json::object setup_offer(const files::path& file) {
  std::error_code code;
  const auto folder = file.parent_path();
  const auto data = files::path(data_folder());
  const auto journal = (data.is_absolute() ? data : folder / data) / "journal.sqlite3";
  json::object out;
  out["file"] = file.string();
  out["data"] = data.string();
  out["record_there"] = files::exists(journal, code);
  out["writable"] = ::access(nearest_there(folder).c_str(), W_OK | X_OK) == 0;
  out["ports"] = mirror::write(ports::find_ports());
  out["dialects"] = dialects_offered();
  return out;
}

Expected<SetupWish> setup_from(const std::string& body) {
  boost::system::error_code code;
  json::parse_options options;
  options.max_depth = 8;
  const auto value = json::parse(body, code, {}, options);
  if (code) return fail("not_json", "the body is not JSON: " + code.message());
  if (!value.is_object()) return fail("wrong_shape", "the body is not one JSON object", "body");
  const auto& object = value.get_object();
  SetupWish wish;
  wish.setup.data = data_folder();
  wish.setup.dialect_folders = own_dialect_folders();
  for (const auto& [name, out, needed] : {std::tuple{"shop", &wish.setup.shop, true},
                                          {"bench", &wish.setup.bench, true},
                                          {"person", &wish.setup.person, false}})
    if (auto done = take(object, name, needed, *out, ""); !done) return tl::unexpected(done.error());
  if (const auto* write = object.if_contains("write")) {
    if (!write->is_bool()) return fail("wrong_shape", "expected true or false", "write");
    wish.write = write->get_bool();
  }
  if (const auto* ports = object.if_contains("ports")) {
    if (!ports->is_array() || ports->get_array().size() > 64)
      return fail("wrong_shape", "expected a list of at most 64 ports", "ports");
    for (const auto& each : ports->get_array()) {
      auto port = port_from(each, wish.setup.ports.size() + 1);
      if (!port) return tl::unexpected(port.error());
      wish.setup.ports.push_back(std::move(*port));
    }
  }
  return wish;
}

}  // namespace tallystick
