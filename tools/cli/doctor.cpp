#include "tools/cli/doctor.hpp"

#include <sys/statvfs.h>
#include <sys/timex.h>
#include <unistd.h>

#include <chrono>
#include <ostream>

#include "daemon/port_cards.hpp"
#include "daemon/record/configuration_files.hpp"
#include "daemon/record/reader.hpp"
#include "drivers/ports/keyboard_port.hpp"
#include "drivers/ports/usb_lines.hpp"
#include "tools/cli/daemon_addresses.hpp"

namespace tallystick::cli {
namespace {

namespace files = std::filesystem;

constexpr const char* service_user = "tallystick";

Expected<Identity> whose(const std::string& user) {
  if (!user.empty()) return identity_of(user);
  if (auto service = identity_of(service_user)) return service;
  Identity us{"this user", ::geteuid(), std::vector<gid_t>(256)};
  const int count = ::getgroups(static_cast<int>(us.groups.size()), us.groups.data());
  us.groups.resize(count > 0 ? static_cast<std::size_t>(count) : 0);
  us.groups.push_back(::getegid());
  return us;
}

std::int64_t utc_now_us() {
  return std::chrono::duration_cast<std::chrono::microseconds>(
             std::chrono::system_clock::now().time_since_epoch())
      .count();
}

ClockSeen clock_seen(const shop::DaemonSettings& settings) {
  ClockSeen out;
  timex asked{};
  out.synchronised = ::adjtimex(&asked) != TIME_ERROR;
  out.policy = settings.clock;
  out.utc_us = utc_now_us();
  record::Place place;
  place.data = settings.data;
  auto reader = record::Reader::open(place);
  if (!reader) return out;
  auto branches = (*reader)->branches();
  if (!branches || branches->empty() || branches->back().last_seq == 0) return out;
  if (auto event = (*reader)->event(Key{branches->back().journal, branches->back().last_seq});
      event && *event)
    out.last_kept_utc_us = (*event)->content.stamp.utc_us;
  return out;
}

void add(Diagnoses& out, Diagnoses more) {
  for (auto& one : more) out.push_back(std::move(one));
}

/// The node that the port leads to; empty: none.
std::string look_at_port(Diagnoses& out, const shop::PortCard& port,
                         const std::vector<ports::FoundPort>& lines, const Identity& who) {
  if (port.over_network()) return {};  // no line of ours: the daemon's status says how it stands
  auto path = port.path;
  if (const auto key = ports::usb_key(port.usb.serial, port.usb.port, port.usb.id, port.usb.interface)) {
    out.push_back(check_usb_key(key, lines, path));
    if (out.back().grade == Grade::fault) return {};
  }
  out.push_back(check_port_access(path, who));
  if (out.back().code == "port_absent") return {};
  if (!port.path.empty()) add(out, check_plain_node(path, lines));
  add(out, check_port_holders(path, {}));
  add(out, check_line_settings(path, {}));
  std::error_code gone;
  return files::canonical(path, gone).string();
}

void look_at_disk(Diagnoses& out, const files::path& data) {
  out.push_back(check_share(data, {}));
  auto there = data;
  std::error_code code;
  while (!files::exists(there, code) && there.has_relative_path()) there = there.parent_path();
  struct statvfs about {};
  if (::statvfs(there.c_str(), &about) == 0) {
    out.push_back(check_space(
        {about.f_bavail * about.f_frsize, about.f_blocks * about.f_frsize, about.f_favail, about.f_files},
        data.string()));
  } else {
    out.push_back({"disk", Grade::fault, "cannot_read", "the folder cannot be looked at", data.string(),
                   "mend `data` of [daemon]"});
  }
}

void look_at_daemon(Diagnoses& out, const DoctorOptions& options) {
  const auto addresses = daemon_addresses(options.daemon);
  if (!addresses) {
    const auto& error = addresses.error();
    out.push_back({"daemon", Grade::fault, error.code, error.what, error.where, error.hint});
    return;
  }
  const auto& address = addresses->front();
  HttpClient client(address, std::chrono::seconds(5));
  auto health = client.get("/api/v1/health");
  if (!health) {
    out.push_back({"daemon", Grade::fault, health.error().code, health.error().what, text(address),
                   "systemctl status tallystick says why it does not run; sudo systemctl start tallystick"});
    return;
  }
  const auto gauges = client.get("/api/v1/gauges"), ports = client.get("/api/v1/ports");
  out.push_back({"daemon", Grade::good, "", "it answers", text(address), ""});
  if (gauges && ports) add(out, check_gauges(*gauges, *ports, utc_now_us()));
}

const char* name_of(Grade grade) {
  return grade == Grade::good ? "good" : grade == Grade::warning ? "warning" : "fault";
}

}  // namespace

Expected<Diagnoses> diagnose(const DoctorOptions& options) {
  auto who = whose(options.user);
  if (!who) return tl::unexpected(who.error());
  const auto config = options.daemon.config.empty() ? std::string("/etc/tallystick") : options.daemon.config;
  auto configuration = record::load_configuration(config);
  if (!configuration) return tl::unexpected(configuration.error());
  const auto& shop = configuration->shop;
  Diagnoses out;
  for (const auto& fault : configuration->faults)
    out.push_back({"configuration",
                   fault.severity == checklist::Severity::fault ? Grade::fault : Grade::warning, fault.code,
                   fault.what, fault.file + (fault.line > 0 ? ':' + std::to_string(fault.line) : ""),
                   fault.remedy});
  const auto lines = ports::usb_lines();
  std::vector<std::string> used;
  for (const auto& port : shop.ports) {
    if (port.driver == "keyboard") {
      if (const auto made = port_config(port, *configuration))
        out.push_back(check_keyboard(port.id, made->keyboard, ports::types_texts(*made), *who));
      continue;
    }
    if (port.driver == "folder") continue;  // no line: the daemon's status says how it stands
    used.push_back(look_at_port(out, port, lines, *who));
  }
  add(out, check_free_lines(lines, used));
  add(out, check_port_grabbers({}));
  add(out, check_same_serials({}));
  out.push_back(check_clock(clock_seen(shop.daemon)));
  look_at_disk(out, shop.daemon.data);
  add(out, check_record(shop.daemon.data));
  look_at_daemon(out, options);
  return out;
}

boost::json::array diagnoses_json(const Diagnoses& diagnoses) {
  boost::json::array out;
  for (const auto& one : diagnoses)
    out.push_back({{"check", one.check},
                   {"grade", name_of(one.grade)},
                   {"code", one.code},
                   {"what", one.what},
                   {"where", one.where},
                   {"remedy", one.remedy}});
  return out;
}

int doctor(const DoctorOptions& options, Streams streams) {
  auto found = diagnose(options);
  if (!found)
    return say(found.error(), options.json, streams,
               found.error().code == "unknown_user" ? status::not_understood : status::not_done);
  bool sound = true;
  for (const auto& one : *found) {
    sound = sound && one.grade == Grade::good;
    if (options.json) continue;
    streams.out << name_of(one.grade) << "  " << one.check << "  " << one.where << ": " << one.what << '\n';
    if (!one.remedy.empty()) streams.out << "    do: " << one.remedy << '\n';
  }
  if (options.json)
    streams.out << boost::json::serialize(
                       boost::json::object{{"sound", sound}, {"findings", diagnoses_json(*found)}})
                << '\n';
  return sound ? status::good : status::no;
}

}  // namespace tallystick::cli
