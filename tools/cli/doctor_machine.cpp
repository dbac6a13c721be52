#include <fstream>
#include <sstream>

#include "daemon/measure/stamp.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/record/place.hpp"
#include "daemon/record/reader.hpp"
#include "daemon/record/verify.hpp"
#include "tools/cli/doctor.hpp"

namespace tallystick::cli {
namespace {

namespace files = std::filesystem;
namespace json = boost::json;

constexpr std::uint64_t megabyte = 1024 * 1024;
constexpr std::uint64_t space_least = 200 * megabyte, space_low = 2048 * megabyte;
constexpr std::int64_t earliest_utc_us =
    1'704'067'200'000'000;  ///< 2024-01-01: no clock that is right says less
constexpr std::uint64_t events_looked_at = 2000;

std::string text_of(const json::object& row, std::string_view name) {
  const auto* value = row.if_contains(name);
  return value && value->is_string() ? std::string(value->as_string()) : std::string();
}

}  // namespace

Diagnosis check_clock(const ClockSeen& seen) {
  if (seen.last_kept_utc_us > seen.utc_us)
    return {"clock",
            Grade::fault,
            "clock_behind",
            "the clock is behind the newest event of the record, " + utc_text(seen.last_kept_utc_us),
            "clock",
            "set it: timedatectl set-time, or let a time service do it"};
  if (seen.utc_us < earliest_utc_us)
    return {"clock",       Grade::fault,
            "clock_wrong", "the clock says " + utc_text(seen.utc_us),
            "clock",       "set it; if it is wrong after every power cut, the board's battery is empty"};
  if (seen.policy == "own")
    return {"clock", Grade::good, "", "its own clock counts, by the configuration", "clock", ""};
  if (!seen.synchronised)
    return {"clock",
            Grade::warning,
            "clock_not_synchronised",
            "no time service keeps the clock right",
            "clock",
            "sudo timedatectl set-ntp true; on a machine without a network: clock = \"own\" in [daemon]"};
  return {"clock", Grade::good, "", "kept right by a time service", "clock", ""};
}

Diagnosis check_space(const SpaceSeen& seen, const std::string& folder) {
  const auto free = std::to_string(seen.free_bytes / megabyte) + " MiB are free";
  const bool few_files = seen.total_files > 0 && seen.free_files < 100;
  if (seen.free_bytes < space_least || few_files)
    return {"disk",      Grade::fault,
            "disk_full", few_files ? std::string("no more files can be made") : free,
            folder,      "make room at once: a record that cannot be written takes no reading"};
  if (seen.free_bytes < space_low)
    return {"disk", Grade::warning, "disk_low", free, folder, "make room, or move backups to another disk"};
  return {"disk", Grade::good, "", free, folder, ""};
}

Diagnosis check_share(const files::path& folder, const Roots& roots) {
  std::ifstream in(roots.proc / "self/mountinfo");
  std::error_code code;
  const auto wanted = files::weakly_canonical(folder, code).string();
  std::string best, type;
  for (std::string line; std::getline(in, line);) {
    std::istringstream words(line);
    std::string skip, point, word, kind;
    words >> skip >> skip >> skip >> skip >> point;
    while (words >> word && word != "-") {
    }
    words >> kind;
    const bool above = point == "/" || wanted == point || wanted.starts_with(point + '/');
    if (above && point.size() >= best.size()) best = point, type = kind;
  }
  static constexpr std::string_view remote[] = {"nfs", "nfs4", "cifs", "smb3",   "smbfs", "9p",
                                                "afs", "ceph", "coda", "lustre", "ncpfs"};
  constexpr std::uint64_t fuse = 0x65735546;
  bool share = type.starts_with("fuse") && !record::network_share(fuse, type).empty();
  for (const auto name : remote) share = share || type == name;
  if (share && best != "/")
    return {"share",         Grade::fault,
            "network_share", "the data folder lies on a network share (" + type + " at " + best + ")",
            folder.string(), "put it on a disk of this machine and send backups to the share"};
  return {"share",
          Grade::good,
          "",
          type.empty() ? "no mount is known" : "on a file system of this machine (" + type + ')',
          folder.string(),
          ""};
}

Diagnoses check_record(const files::path& data) {
  record::Place place;
  place.data = data;
  const auto where = place.journal().string();
  std::error_code code;
  if (!files::exists(place.journal(), code))
    return {{"record", Grade::warning, "no_record", "there is no record yet", where,
             "the daemon makes one at its first start"}};
  record::VerifyOptions options;
  options.tables = false;
  auto reader = record::Reader::open(place);
  if (!reader)
    return {{"record", Grade::fault, reader.error().code, reader.error().what, where,
             reader.error().hint.empty() ? "keep the file as it is; restore from a backup"
                                         : reader.error().hint}};
  std::uint64_t there = 0;
  if (auto branches = (*reader)->branches(); branches && !branches->empty()) {
    const auto& newest = branches->back();
    there = newest.last_seq;
    if (newest.last_seq > events_looked_at)
      options.since = Key{newest.journal, newest.last_seq - events_looked_at};
  }
  auto report = record::verify(place.journal(), options);
  if (!report)
    return {
        {"record", Grade::fault, report.error().code, report.error().what, where, "run tallystick verify"}};
  Diagnoses out;
  for (const auto& finding : report->findings)
    out.push_back(
        {"record", finding.confirmed ? Grade::warning : Grade::fault, finding.code, finding.what,
         finding.where,
         "run tallystick verify, keep the file as it is, and tell who is responsible for the record"});
  const auto aside = record::list_set_aside(place.set_aside());
  if (!aside.empty())
    out.push_back(
        {"record", Grade::warning, "set_aside",
         std::to_string(aside.size()) + " events could not be kept and were set aside with all their bytes",
         place.set_aside().string(), "read the newest file there; it says why"});
  if (out.empty())
    out.push_back({"record", Grade::good, "",
                   "its structure and the chain of the newest " +
                       std::to_string(std::min(there, events_looked_at)) + " events are sound",
                   where, ""});
  return out;
}

Diagnoses check_gauges(const json::value& gauges, const json::value& ports, std::int64_t now_utc_us) {
  Diagnoses out;
  const auto hint_of = [&](const std::string& port) {
    if (const auto* rows = ports.if_array())
      for (const auto& row : *rows)
        if (row.is_object() && text_of(row.as_object(), "port") == port)
          return text_of(row.as_object(), "hint");
    return std::string();
  };
  const auto* rows = gauges.if_array();
  if (rows == nullptr) return out;
  for (const auto& row : *rows) {
    if (!row.is_object()) continue;
    const auto& gauge = row.as_object();
    const auto state = text_of(gauge, "port_state"), heard = text_of(gauge, "last_heard_utc");
    const auto* card = gauge.if_contains("card");
    const auto port = card && card->is_object() ? text_of(card->as_object(), "port") : std::string();
    const auto said = heard.empty() ? "never heard since the daemon's start"
                                    : "last heard " + heard + ", now " + utc_text(now_utc_us);
    Diagnosis one{"gauge", Grade::good, "", said, text_of(gauge, "id"), ""};
    if (!state.empty() && state != "open" && state != "silent") {
      one.grade = Grade::fault;
      one.code = "port_" + state;
      one.what = "its port is " + state + "; " + said;
      const auto hint = hint_of(port);
      one.remedy = hint.empty() ? "look at cable, hub and the path of port " + port : hint;
    } else if (state == "silent") {
      one.grade = Grade::warning, one.code = "silent";
      one.remedy = "look at its battery, cable and mode, then press it once";
    } else if (heard.empty()) {
      one.grade = Grade::warning, one.code = "never_heard";
      one.remedy =
          "press it once; tallystick ports --watch " + one.where + " shows what comes, byte for byte";
    }
    out.push_back(std::move(one));
  }
  return out;
}

}  // namespace tallystick::cli
