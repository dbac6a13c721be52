// Parts as the lot knows them: which are free, who has them, which go back.
#include <algorithm>
#include <charconv>
#include <set>

#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

std::string claim_key(const std::string& stage, std::int64_t serial) {
  return stage_group(stage) + "/" + std::to_string(serial);
}

void claim_part(LotDraft& lot, const WalkDraft& walk, const PartState& part) {
  auto& claim = lot.write(claim_key(part.stage, part.serial));
  Claim fresh;
  fresh.walk = walk.state.key;
  fresh.bench = walk.state.bench;
  fresh.part = part.key;
  fresh.released_utc = claim.released_utc;
  fresh.order = claim.order;
  if (!part.suspect_results.empty()) {
    fresh.rejected = claim.rejected;
    fresh.rejected_by_decision = claim.rejected_by_decision;
    fresh.again = claim.again;
    fresh.before = claim.before;
    fresh.disposition = claim.disposition;
  }
  claim = std::move(fresh);
}

void note_end(LotDraft& lot, const WalkDraft& walk, PartState& part) {
  auto& claim = lot.write(claim_key(part.stage, part.serial));
  std::set<std::string> rejected, asked;
  for (std::size_t n = 0; n < part.asked.size(); ++n) {
    const auto& step = walk.edition->steps[part.asked[n]];
    const auto& feature = walk.edition->edition.features[step.feature].key;
    const bool answer = step.kind != checklist::StepKind::reading && step.kind != checklist::StepKind::capture;
    if (part.steps[n].status == "done") asked.insert(feature);
    const auto verdict = settled(part.steps[n], answer);
    if (verdict == "reject" || verdict == "undecided") rejected.insert(feature);
  }
  for (const auto& [feature, verdict] : part.derived) {
    asked.insert(feature);
    if (verdict != "accept") rejected.insert(feature);
  }
  const bool again = !part.suspect_results.empty();
  if (again)
    for (const auto& feature : claim.rejected)
      if (!asked.contains(feature)) rejected.insert(feature);
  if (again) std::erase_if(claim.rejected_by_decision, [&](const auto& feature) { return asked.contains(feature); });
  if (part.end == "accepted" && again && claim.before == "incomplete") part.end = "incomplete";
  const bool held = part.end == "rejected" || part.end == "undecided";
  if (!held && !rejected.empty()) part.end = again && claim.before == "undecided" ? "undecided" : "rejected";
  if (!claim.rejected_by_decision.empty()) part.end = "rejected";
  std::erase_if(claim.again, [&](const auto& feature) { return asked.contains(feature); });
  claim.rejected.assign(rejected.begin(), rejected.end());
  claim.end = part.end;
}

std::vector<std::pair<std::string, Claim>> claims_of(const LotDraft& lot, std::int64_t serial) {
  std::vector<std::pair<std::string, Claim>> out;
  for (const char* group : {"in_process", "final", "after_finish"}) {
    const auto key = std::string(group) + "/" + std::to_string(serial);
    if (const auto* claim = lot.claim(key)) out.emplace_back(key, *claim);
  }
  return out;
}

std::string released_at(const LotDraft& lot, std::int64_t serial) {
  for (const auto& [key, claim] : claims_of(lot, serial))
    if (!claim.released_utc.empty()) return claim.released_utc;
  return {};
}

std::string stage_group(const std::string& stage) {
  if (stage == "final") return "final";
  if (stage == "after finish" || stage == "after_finish") return "after_finish";
  return "in_process";
}

std::vector<std::int64_t> free_serials(const WalkState& walk, const LotDraft& lot, std::size_t most) {
  const auto is_free = [&](std::int64_t serial) {
    const Claim* claim = lot.claim(claim_key(walk.stage, serial));
    return claim == nullptr || claim->end == "given_back";
  };
  std::set<std::int64_t> out;
  const std::string group = stage_group(walk.stage) + "/";
  const auto offer_again = [&](const std::string& key) {
    std::int64_t serial = 0;
    if (!key.starts_with(group)) return;
    std::from_chars(key.data() + group.size(), key.data() + key.size(), serial);
    if (serial >= walk.first && serial <= walk.last && is_free(serial)) out.insert(serial);
  };
  if (lot.before)
    for (const auto& key : lot.before->given_back) offer_again(key);
  for (const auto& [key, claim] : lot.written) offer_again(key);
  // What is to be measured again is asked for alone, before anything else.
  for (const auto serial : out)
    if (!lot.claim(claim_key(walk.stage, serial))->again.empty()) return {serial};
  if (!lot.state.closed_utc.empty()) {   // of a closed lot besides only what was reworked
    std::erase_if(out, [&](std::int64_t serial) { return lot.claim(claim_key(walk.stage, serial))->disposition != "rework"; });
    return {out.begin(), std::next(out.begin(), static_cast<std::ptrdiff_t>(std::min(most, out.size())))};
  }
  // A walk takes the lowest that is free, so below its newest part nobody's are only those given back.
  const auto& newest = walk.part ? walk.part : walk.previous;
  auto serial = newest ? std::max(walk.first, newest->serial) : walk.first;
  for (std::size_t found = 0; found < most && serial <= walk.last; ++serial)
    if (is_free(serial)) {
      out.insert(serial);
      ++found;
    }
  return {out.begin(), std::next(out.begin(), static_cast<std::ptrdiff_t>(std::min(most, out.size())))};
}

void give_parts_back(Draft& draft, const WalkState& walk) {
  const auto give_back = [&](const PartState& part) {
    if (!part.end.empty()) return;
    draft.lot(walk.lot).write(claim_key(part.stage, part.serial)).end = part_ever_read(part) ? "incomplete" : "given_back";
  };
  if (walk.part) give_back(*walk.part);
  for (const auto& [slot, part] : walk.others) give_back(part);
}

}  // namespace tallystick::walk
