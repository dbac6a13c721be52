// Parts as the lot knows them: which are free, who has them, which go back.
#include <algorithm>
#include <charconv>
#include <set>

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
