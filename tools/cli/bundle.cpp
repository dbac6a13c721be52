#include "tools/cli/bundle.hpp"

#include <SQLiteCpp/SQLiteCpp.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <sys/utsname.h>

#include <boost/version.hpp>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <memory>
#include <ostream>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/measure/stamp.hpp"
#include "daemon/record/configuration_files.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/record/place.hpp"
#include "tools/cli/doctor.hpp"
#include "tools/cli/daemon_addresses.hpp"
#include "tools/cli/redaction.hpp"
#include "tools/cli/tar.hpp"

namespace tallystick::cli {
namespace {

namespace files = std::filesystem;
namespace json = boost::json;

constexpr std::size_t log_most = 512 * 1024;
constexpr const char* journal_command =
    "journalctl --unit tallystick --lines 2000 --no-pager --output short-iso 2>/dev/null";

std::int64_t now_us() {
  return std::chrono::duration_cast<std::chrono::microseconds>(
             std::chrono::system_clock::now().time_since_epoch())
      .count();
}

/// Everybody whom the configuration or the record names.
std::vector<std::string> names_in(const record::Configuration& configuration, json::array& missing) {
  std::vector<std::string> out;
  for (const auto& person : configuration.shop.people) out.push_back(person.name);
  record::Place place;
  place.data = configuration.shop.daemon.data;
  std::error_code code;
  if (!files::exists(place.journal(), code)) return out;
  try {
    SQLite::Database journal(place.journal().string(), SQLite::OPEN_READONLY, 5000);
    SQLite::Statement rows(journal,
                           "SELECT person FROM entry WHERE person IS NOT NULL UNION SELECT value FROM entry, "
                           "json_tree(entry.input) "
                           "WHERE json_tree.key IN ('person', 'who', 'name_stated') AND json_tree.type = "
                           "'text' UNION SELECT who FROM branch");
    while (rows.executeStep())
      if (!rows.getColumn(0).isNull()) out.push_back(rows.getColumn(0).getString());
  } catch (const std::exception& fault) {
    missing.push_back(json::string(std::string("names of the record: ") + fault.what()));
  }
  return out;
}

std::string tail_of(std::string text) {
  if (text.size() <= log_most) return text;
  text.erase(0, text.size() - log_most);
  return text.substr(text.find('\n') + 1);
}

std::string log_of(const BundleOptions& options, json::array& missing) {
  if (!options.log.empty()) {
    std::ifstream in(options.log, std::ios::binary);
    if (!in) missing.push_back(json::string("log: " + options.log + " cannot be read"));
    return tail_of({std::istreambuf_iterator<char>(in), {}});
  }
  std::string out;
  const auto close = [](FILE* pipe) { ::pclose(pipe); };
  if (const std::unique_ptr<FILE, decltype(close)> pipe(::popen(journal_command, "r"), close); pipe) {
    char piece[4096];
    for (std::size_t got = 0; (got = std::fread(piece, 1, sizeof piece, pipe.get())) > 0;)
      out.append(piece, got);
  }
  if (out.empty()) missing.push_back("log: the system's journal gave nothing; name a file with --log");
  return tail_of(std::move(out));
}

json::object versions() {
  utsname kernel{};
  ::uname(&kernel);
  std::string system = "unknown";
  std::ifstream in("/etc/os-release");
  for (std::string line; std::getline(in, line);)
    if (line.starts_with("PRETTY_NAME=")) system = line.substr(12);
  return {{"tallystick", TALLYSTICK_VERSION},
          {"system", system},
          {"kernel", std::string(kernel.release) + ' ' + kernel.machine},
          {"sqlite", sqlite3_libversion()},
          {"boost", BOOST_LIB_VERSION}};
}

/// tallystick.toml, families, size tables and dialects that lie in its folder; drawings and all else are left
/// out.
void add_configuration(Tar& tar, const record::Configuration& configuration, const Redaction& redaction,
                       std::int64_t seconds) {
  const auto folder = configuration.file.parent_path();
  std::error_code code;
  std::size_t count = 0;
  for (files::recursive_directory_iterator at(folder, files::directory_options::skip_permission_denied, code),
       end;
       !code && at != end; at.increment(code)) {
    if (at.depth() > 3 || ++count > 2000) break;
    std::error_code ignored;
    if (at->path() == files::path(configuration.shop.daemon.data)) {
      at.disable_recursion_pending();
      continue;
    }
    const auto ending = at->path().extension();
    if (!at->is_regular_file(ignored) || (ending != ".toml" && ending != ".csv")) continue;
    if (auto bytes = record::bytes_of_file(at->path()))
      tar.add("configuration/" + files::relative(at->path(), folder, ignored).generic_string(),
              redaction.clean(*bytes), seconds);
  }
}

void add_daemon(Tar& tar, const BundleOptions& options, const Redaction& redaction, std::int64_t seconds,
                json::array& missing) {
  const auto addresses = daemon_addresses(options.daemon);
  if (!addresses) {
    missing.push_back(json::string(text(addresses.error())));
    return;
  }
  HttpClient client(addresses->front(), std::chrono::seconds(5));
  for (const char* name : {"health", "faults", "ports", "routes"}) {
    auto found = client.get(std::string("/api/v1/") + name);
    if (found) {
      tar.add(std::string("daemon/") + name + ".json", redaction.clean(json::serialize(*found) + '\n'),
              seconds);
    } else {
      missing.push_back(json::string(std::string(name) + ": " + text(found.error())));
    }
  }
  if (auto counters = client.text("/metrics"))
    tar.add("daemon/metrics.txt", redaction.clean(*counters), seconds);
  else
    missing.push_back(json::string("metrics: " + text(counters.error())));
}

constexpr const char* read_me =
    "A support bundle. It holds versions, the configuration, faults, findings of `tallystick doctor`, "
    "counters and the end of\n"
    "the daemon's log. It holds no readings and no values of parts. Names of people and what looks like a "
    "secret were taken\n"
    "out: [person 1], [secret]. No rule finds everything: read it before it leaves the house.\n";

}  // namespace

int bundle(const BundleOptions& options, Streams streams) {
  const auto config = options.daemon.config.empty() ? std::string("/etc/tallystick") : options.daemon.config;
  auto configuration = record::load_configuration(config);
  if (!configuration) return say(configuration.error(), options.json, streams, status::not_done);
  const auto now = now_us();
  const auto seconds = now / 1'000'000;
  json::array missing;
  const Redaction redaction(names_in(*configuration, missing));
  Tar tar;
  tar.add("READ-ME.txt", read_me, seconds);
  add_configuration(tar, *configuration, redaction, seconds);
  json::array faults;
  for (const auto& fault : configuration->faults) faults.push_back(json::string(checklist::text(fault)));
  tar.add("faults.json", redaction.clean(json::serialize(faults) + '\n'), seconds);
  if (auto found = diagnose({options.daemon, {}, false}))
    tar.add("doctor.json", redaction.clean(json::serialize(diagnoses_json(*found)) + '\n'), seconds);
  tar.add("log.txt", redaction.clean(log_of(options, missing)), seconds);
  add_daemon(tar, options, redaction, seconds, missing);
  tar.add("about.json",
          redaction.clean(json::serialize(json::object{
                              {"made_utc", utc_text(now)}, {"versions", versions()}, {"missing", missing}}) +
                          '\n'),
          seconds);
  files::path to = options.to;
  std::error_code code;
  if (files::is_directory(to, code))
    to /= "tallystick-bundle-" + utc_text(now).substr(0, 10) + '-' + std::to_string(seconds) + ".tar";
  if (files::exists(to, code))
    return say({"file_exists", "this file is there already", to.string(), "name a new file"}, options.json,
               streams, status::not_done);
  ::umask(077);  // for nobody else's eyes: no rule of redaction finds everything
  if (auto done = record::write_durably(to, std::move(tar).end()); !done)
    return say(done.error(), options.json, streams, status::not_done);
  if (options.json) {
    streams.out << json::serialize(json::object{{"file", to.string()}, {"missing", missing}}) << '\n';
  } else {
    streams.out << to.string() << '\n';
    for (const auto& one : missing) streams.err << "left out: " << std::string(one.as_string()) << '\n';
    streams.err << "read it before it leaves the house: no rule finds every name and every secret\n";
  }
  return status::good;
}

}  // namespace tallystick::cli
