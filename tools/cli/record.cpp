// verify, backup, restore: the record itself, whether the daemon runs or not.
#include <boost/json.hpp>
#include <chrono>
#include <filesystem>
#include <ostream>

#include "daemon/measure/stamp.hpp"
#include "daemon/record/backup.hpp"
#include "daemon/record/configuration_files.hpp"
#include "daemon/record/journal.hpp"
#include "daemon/record/recompute.hpp"
#include "daemon/record/verify.hpp"
#include "tools/cli/record_commands.hpp"

namespace tallystick::cli {
namespace {

namespace json = boost::json;

Stamp now() {
  Stamp stamp;
  stamp.utc_us = std::chrono::duration_cast<std::chrono::microseconds>(
                     std::chrono::system_clock::now().time_since_epoch())
                     .count();
  return stamp;
}

/// Refusals of what was asked for, as against disks and files that do not serve.
int status_of(const Error& error) {
  return error.code == "wrong_argument" || error.code == "unknown_key" || error.code == "not_a_key"
             ? status::not_understood
             : status::not_done;
}

json::array findings_json(const record::VerifyReport& report) {
  json::array out;
  for (const auto& finding : report.findings)
    out.push_back(json::object{{"code", finding.code},
                               {"where", finding.where},
                               {"what", finding.what},
                               {"confirmed", finding.confirmed}});
  return out;
}

json::object report_json(const record::VerifyReport& report) {
  return {{"sound", report.sound()},           {"branches", report.checked.branches},
          {"events", report.checked.events},   {"facts", report.checked.facts},
          {"files", report.checked.blobs},     {"last", text(report.last)},
          {"last_hash", report.last_hash},     {"marked_copy", report.marked},
          {"findings", findings_json(report)}, {"finding_count", report.finding_count}};
}

void say_report(const record::VerifyReport& report, std::ostream& out) {
  for (const auto& finding : report.findings)
    out << finding.where << ": " << finding.what << " [" << finding.code
        << (finding.confirmed ? ", confirmed" : "") << "]\n";
  if (report.finding_count > report.findings.size())
    out << "... and " << report.finding_count - report.findings.size() << " more\n";
  out << (report.sound() ? "sound: " : "NOT SOUND: ") << report.checked.events << " events in "
      << report.checked.branches << (report.checked.branches == 1 ? " branch, " : " branches, ")
      << report.checked.facts << " facts, " << report.checked.blobs << " files; ends with "
      << text(report.last) << ", hash " << report.last_hash << '\n';
}

}  // namespace

Expected<record::Place> place_of(const RecordOptions& options) {
  if (options.data.empty() == options.config.empty())
    return fail("wrong_argument", "say where the record lies", {}, "--data FOLDER, or --config FILE");
  record::Place place;
  place.data = options.data;
  if (!options.config.empty()) {
    auto configuration = record::load_configuration(options.config);
    if (!configuration) return tl::unexpected(configuration.error());
    place.data = configuration->shop.daemon.data;
  }
  // "data/" and "." name a folder whose name and parent the head file needs.
  place.data = std::filesystem::absolute(place.data).lexically_normal();
  if (!place.data.has_filename()) place.data = place.data.parent_path();
  return place;
}

namespace {

json::object recomputed_json(const record::RecomputeReport& report) {
  json::array findings;
  for (const auto& finding : report.findings)
    findings.push_back(json::object{{"code", finding.code}, {"where", finding.where}, {"what", finding.what}});
  return {{"sound", report.sound()},     {"results", report.results}, {"derived", report.derived},
          {"readings", report.readings}, {"sweeps", report.sweeps},   {"rules", report.rules},
          {"least_rules", report.least_rules}, {"greatest_rules", report.greatest_rules},
          {"findings", std::move(findings)}, {"finding_count", report.finding_count}};
}

void say_recomputed(const record::RecomputeReport& report, std::ostream& out) {
  for (const auto& finding : report.findings) out << finding.code << " at " << finding.where << ": " << finding.what << '\n';
  out << (report.sound() ? "decided anew, no difference: " : "decided anew, with differences: ") << report.results << " results ("
      << report.derived << " derived), " << report.readings << " readings held against what the gauges sent, " << report.sweeps
      << " sweeps; rules " << report.rules;
  if (report.least_rules != report.rules || report.greatest_rules != report.rules)
    out << ", kept under rules " << report.least_rules << " to " << report.greatest_rules;
  out << '\n';
}

}  // namespace

int verify(const VerifyCommandOptions& options, Streams streams) {
  const auto refuse = [&](const Error& error) { return say(error, options.json, streams, status_of(error)); };
  record::VerifyOptions how;
  std::filesystem::path journal = options.file;
  if (options.file.empty()) {
    auto place = place_of(options.record);
    if (!place) return refuse(place.error());
    journal = place->journal();
    how.head_file = place->head_file();
  } else if (!options.record.data.empty() || !options.record.config.empty()) {
    return refuse(
        {"wrong_argument", "both a file and a data folder were named", options.file, "name one of them"});
  }
  if (!options.since.empty()) {
    how.since = key_from(options.since);
    if (!how.since)
      return refuse({"not_a_key", "\"" + options.since + "\" is not the key of an event", "--since",
                     "write it as exports and pages show it: <32 hex digits>-<number>"});
  }
  auto report = record::verify(journal, how);
  if (!report) return refuse(report.error());
  std::optional<record::RecomputeReport> again;
  if (options.recompute) {
    auto recomputed = record::recompute(journal);
    if (!recomputed) return refuse(recomputed.error());
    again = std::move(*recomputed);
  }
  if (options.json) {
    auto answer = report_json(*report);
    if (again) answer["recomputed"] = recomputed_json(*again);
    streams.out << json::serialize(answer) << '\n';
  } else {
    say_report(*report, streams.out);
    if (again) say_recomputed(*again, streams.out);
  }
  return report->sound() && (!again || again->sound()) ? status::good : status::no;
}

int backup(const BackupOptions& options, Streams streams) {
  const auto refuse = [&](const Error& error) { return say(error, options.json, streams, status_of(error)); };
  auto place = place_of(options.record);
  if (!place) return refuse(place.error());
  std::filesystem::path to = options.to;
  const Stamp at = now();
  std::error_code code;
  if (std::filesystem::is_directory(to, code)) {
    std::string name = utc_text(at.utc_us).substr(0, 19) + "Z";
    std::erase_if(name, [](char c) { return c == ':' || c == '-'; });
    to /= "journal-" + name + ".sqlite3";
  }
  auto copied = record::backup(place->journal(), to, at);
  if (!copied) return refuse(copied.error());
  if (options.json) {
    auto answer = report_json(copied->checked);
    answer["file"] = copied->file.string();
    streams.out << json::serialize(answer) << '\n';
  } else {
    streams.out << copied->file.string() << '\n';
    say_report(copied->checked, streams.out);
  }
  return copied->checked.sound() ? status::good : status::no;
}

int restore(const RestoreOptions& options, Streams streams) {
  const auto refuse = [&](const Error& error) { return say(error, options.json, streams, status_of(error)); };
  auto place = place_of(options.record);
  if (!place) return refuse(place.error());
  if (options.who.empty() || options.why.empty())
    return refuse({"wrong_argument",
                   "who restores, and why, is kept in the record for good",
                   {},
                   "--person NAME --reason TEXT"});
  auto copied = record::restore(options.from, *place, options.who, options.why);
  if (!copied) return refuse(copied.error());
  if (options.json) {
    auto answer = report_json(copied->checked);
    answer["file"] = copied->file.string();
    streams.out << json::serialize(answer) << '\n';
  } else {
    streams.out << copied->file.string() << ": ends with " << text(copied->last)
                << "; a new branch begins when the daemon first writes to it\n";
  }
  return status::good;
}

int confirm_break(const ConfirmBreakOptions& options, Streams streams) {
  const auto refuse = [&](const Error& error) { return say(error, options.json, streams, status_of(error)); };
  auto place = place_of(options.record);
  if (!place) return refuse(place.error());
  if (options.who.empty() || options.why.empty())
    return refuse({"wrong_argument",
                   "who confirms, and why, is kept in the record for good",
                   {},
                   "--person NAME --reason TEXT"});
  auto standing = record::confirm_break({*place, now(), record::machine_id(), options.who}, options.why);
  if (!standing)
    return say(standing.error(), options.json, streams,
               standing.error().code == "no_break" ? status::no : status_of(standing.error()));
  if (options.json)
    streams.out << json::serialize(json::object{{"branch", standing->branch},
                                                {"journal", standing->journal},
                                                {"kept_until", text(standing->kept_until)},
                                                {"why", standing->why}})
                << '\n';
  else
    streams.out << "the record goes on in branch " << standing->branch << " (" << standing->journal
                << ") after " << text(standing->kept_until) << "; the break stays reported\n";
  return status::good;
}

}  // namespace tallystick::cli
