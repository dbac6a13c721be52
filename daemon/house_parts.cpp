#include "daemon/house_parts.hpp"

#include <cstdlib>
#include <string_view>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/port_cards.hpp"

namespace tallystick {

walk::ShopWords words_of(const shop::ShopConfig& shop, const std::string& today) {
  walk::ShopWords words;
  words.retake_reasons = shop.reasons.retake;
  words.set_aside_reasons = shop.reasons.retake;
  words.pass_reasons = shop.reasons.pass_over;
  words.suspect_reasons = shop.reasons.suspect;
  words.disposition_reasons = shop.reasons.disposition;
  for (const auto& change : shop.run_changes) words.run_changes.push_back({change.kind, change.then});
  for (const auto& tool : shop.tools) {
    const bool due = !tool.calibration_due.empty() && tool.calibration_due < today;
    words.tools.push_back({tool.id, tool.kind, !due, due ? "its calibration was due on " + tool.calibration_due : ""});
  }
  for (const auto& bench : shop.benches) words.benches.push_back(bench.id);
  return words;
}

std::vector<walk::Candidate> candidates_of(const record::Configuration& configuration) {
  std::vector<walk::Candidate> out;
  for (auto& edition : configuration.editions()) {
    walk::Candidate candidate;
    if (const auto drawing = configuration.drawings.find(edition.drawing); drawing != configuration.drawings.end())
      candidate.drawing = Attachment{drawing->first, "image/svg+xml", drawing->second};
    candidate.edition = edition;
    out.push_back(std::move(candidate));
  }
  return out;
}

std::vector<ports::PortConfig> ports_of(const record::Configuration& configuration) {
  std::vector<ports::PortConfig> out;
  for (const auto& card : configuration.shop.ports)
    if (auto port = port_config(card, configuration)) out.push_back(std::move(*port));
  return out;
}

namespace {

Done load_editions(const walk::States& states, record::Reader& reader, walk::Catalogue& catalogue) {
  for (const auto& [sha, state] : states.editions) {
    const auto blob = reader.blob(sha);
    if (!blob) return tl::unexpected(blob.error());
    if (!*blob) return fail("edition_missing", "a published edition is not in the record", sha, "run tallystick verify");
    auto edition = checklist::edition_from((*blob)->bytes);
    if (!edition) return tl::unexpected(edition.error());
    auto prepared = walk::prepare(std::move(*edition), sha);
    if (!prepared) return tl::unexpected(prepared.error());
    catalogue[sha] = *prepared;
  }
  return {};
}

/// The faint ticks of the ruler: at most the newest few thousand results of the lots that are being walked.
Done load_earlier(walk::Desk& desk, record::Reader& reader) {
  std::map<std::string, bool> lots;
  for (const auto& [key, walk] : desk.states().walks) lots[walk.lot] = true;
  for (const auto& [lot, wanted] : lots) {
    record::FactFilter filter;
    filter.lot = lot;
    filter.kind = "result";
    record::Cursor cursor;
    for (int page = 0; page < 20; ++page) {
      const auto facts = reader.facts_after(cursor, filter, 2000);
      if (!facts) return tl::unexpected(facts.error());
      for (const auto& row : facts->rows) desk.load_earlier(row.fact);
      if (!facts->more) break;
      cursor = facts->next;
    }
  }
  return {};
}

}  // namespace

Done load_desk(walk::Desk& desk, record::Reader& reader) {
  record::Cursor cursor;
  const auto checkpoint = reader.newest_checkpoint();
  if (!checkpoint) return tl::unexpected(checkpoint.error());
  if (*checkpoint) {
    // A checkpoint that this version cannot read costs time, not truth: everything is replayed.
    if (desk.load_checkpoint((*checkpoint)->state)) cursor = {(*checkpoint)->at.journal, (*checkpoint)->at.seq, UINT32_MAX};
    else desk.load({}, {});
  }
  for (bool more = true; more;) {
    const auto page = reader.events_after(cursor, 2000);
    if (!page) return tl::unexpected(page.error());
    for (const auto& event : page->events)
      if (auto done = desk.replay(event); !done) return done;
    cursor = page->next;
    more = page->more;
  }
  walk::Catalogue catalogue;
  if (auto done = load_editions(desk.states(), reader, catalogue); !done) return done;
  desk.load(desk.states(), std::move(catalogue));
  return load_earlier(desk, reader);
}

boost::json::object page_settings(const shop::ShopConfig& shop) {
  boost::json::object out;
  out["shop"] = shop.name;
  out["decimal_mark"] = shop.decimal_mark;
  out["theme"] = shop.theme;
  out["language"] = shop.language;
  out["reasons"] = {{"retake", mirror::write(shop.reasons.retake)}, {"pass_over", mirror::write(shop.reasons.pass_over)}, {"publish", mirror::write(shop.reasons.publish)},
                    {"suspect", mirror::write(shop.reasons.suspect)}, {"disposition", mirror::write(shop.reasons.disposition)}};
  boost::json::array people, benches, changes, tools, masters;
  for (const auto& person : shop.people) people.push_back({{"name", person.name}, {"role", person.role}});
  for (const auto& bench : shop.benches) benches.push_back({{"id", bench.id}, {"name", bench.name}});
  for (const auto& change : shop.run_changes) changes.push_back({{"change", change.kind}, {"name", change.name}, {"then", change.then}});
  for (const auto& tool : shop.tools) tools.push_back({{"id", tool.id}, {"name", tool.name}, {"kind", tool.kind}});
  for (const auto& master : shop.masters)
    masters.push_back({{"id", master.id}, {"name", master.name}, {"kind", master.kind}, {"size", master.size}, {"unit", master.unit},
                       {"deviation", master.deviation}, {"uncertainty", master.uncertainty}, {"calibrated", master.calibrated}, {"calibration_due", master.calibration_due}});
  out["people"] = std::move(people);
  out["benches"] = std::move(benches);
  out["run_changes"] = std::move(changes);
  out["tools"] = std::move(tools);
  out["masters"] = std::move(masters);
  return out;
}

std::string socket_path(const std::filesystem::path& data) {
  // The service manager may name several folders, with colons between; ours is the first.
  const char* runtime = std::getenv("RUNTIME_DIRECTORY");
  const std::string folder = runtime ? std::string(runtime).substr(0, std::string_view(runtime).find(':')) : "";
  return ((folder.empty() ? data : std::filesystem::path(folder)) / "tallystick.sock").string();
}

boost::json::array refused_json(const std::vector<checklist::Fault>& faults, const std::string& when) {
  boost::json::array out;
  out.push_back({{"severity", "fault"},
                 {"code", "reload_refused"},
                 {"what", "the configuration on disk was not taken at " + when + "; the daemon goes on with the one before"},
                 {"where", faults.empty() ? std::string() : faults.front().file},
                 {"hint", "mend the faults below, then run: tallystick reload"}});
  for (auto& fault : faults_json(faults)) out.push_back(std::move(fault));
  return out;
}

boost::json::array faults_json(const std::vector<checklist::Fault>& faults) {
  boost::json::array out;
  for (const auto& fault : faults) {
    boost::json::object entry;
    entry["severity"] = fault.severity == checklist::Severity::fault ? "fault" : "warning";
    entry["code"] = fault.code;
    entry["what"] = fault.what;
    entry["where"] = fault.file + (fault.line ? ":" + std::to_string(fault.line) : "") + (fault.place.empty() ? "" : ": " + fault.place);
    entry["hint"] = fault.remedy;
    out.push_back(std::move(entry));
  }
  return out;
}

}  // namespace tallystick
