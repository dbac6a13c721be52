// Parts as the lot knows them: which are free, who has them, which go back.
#include <algorithm>
#include <charconv>

#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

std::string claim_key(const std::string& stage, std::int64_t serial) {
  return stage_group(stage) + "/" + std::to_string(serial);
}

std::string stage_group(const std::string& stage) {
  if (stage == "final") return "final";
  if (stage == "after finish" || stage == "after_finish") return "after_finish";
  return "in_process";
}

std::vector<std::int64_t> free_serials(const WalkState& walk, const LotDraft& lot, std::size_t most) {
  if (walk.last < walk.first) return {};
  std::vector<bool> taken(static_cast<std::size_t>(walk.last - walk.first + 1), false);
  const std::string group = stage_group(walk.stage) + "/";
  const auto note = [&](const std::string& key, const Claim& claim) {
    std::int64_t serial = 0;
    std::from_chars(key.data() + group.size(), key.data() + key.size(), serial);
    if (serial >= walk.first && serial <= walk.last) taken[static_cast<std::size_t>(serial - walk.first)] = claim.end != "given_back";
  };
  const auto look = [&](const std::map<std::string, Claim>& claims) {
    for (auto claim = claims.lower_bound(group); claim != claims.end() && claim->first.starts_with(group); ++claim)
      note(claim->first, claim->second);
  };
  if (lot.before) look(lot.before->claims);
  look(lot.written);
  std::vector<std::int64_t> out;
  for (auto free = taken.begin(); out.size() < most; ++free) {
    free = std::find(free, taken.end(), false);
    if (free == taken.end()) break;
    out.push_back(walk.first + (free - taken.begin()));
  }
  return out;
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
