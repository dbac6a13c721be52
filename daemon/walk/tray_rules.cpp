// Parts on a tray: claimed together, measured gauge by gauge, each ended by itself.
#include "daemon/checklist/plan.hpp"
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

/// What taking up another part costs against taking up another gauge. Below one, a gauge always goes round the whole
/// tray; above nothing, so that of two rounds alike the one with fewer part changes is taken.
constexpr double part_weight = 0.1;

std::string slot_text(std::int64_t slot) { return std::to_string(slot); }

/// The plan over all parts of a tray, which are all asked the same. Places of a feature and members of a plug stay
/// together.
std::vector<TrayStep> plan_of_tray(const Draft& draft, const WalkDraft& walk, const std::vector<std::size_t>& asked,
                                   std::size_t parts) {
  const auto& edition = *walk.edition;
  std::vector<std::vector<std::size_t>> groups;   // of indices into `asked`
  std::map<std::string, std::size_t> item_of;
  for (std::size_t index = 0; index < asked.size(); ++index) {
    const auto& key = edition.edition.features[edition.steps[asked[index]].feature].key;
    const auto [known, is_new] = item_of.emplace(key, groups.size());
    if (is_new) groups.emplace_back();
    groups[known->second].push_back(index);
  }
  std::vector<checklist::PlanItem> items;
  for (const auto& group : groups) {
    const auto& feature = edition.edition.features[edition.steps[asked[group.front()]].feature];
    checklist::PlanItem item{planned_gauge(draft, edition, feature, walk.state.bench), feature.tells_sizes_apart, {}};
    for (const auto& later : feature.before)
      if (const auto found = item_of.find(later); found != item_of.end()) item.before.push_back(found->second);
    items.push_back(std::move(item));
  }
  std::vector<TrayStep> out;
  for (const auto& step : checklist::plan(items, parts, part_weight))
    for (const auto index : groups[step.item]) out.push_back({static_cast<std::int64_t>(step.part) + 1, index});
  return out;
}

const PartState* part_in_slot(const WalkState& walk, std::int64_t slot) {
  if (walk.part && walk.part->slot == slot) return &*walk.part;
  const auto other = walk.others.find(slot_text(slot));
  return other == walk.others.end() ? nullptr : &other->second;
}

/// What was written of the part in hand is put down before another comes into the hand.
void put_down(WalkDraft& walk) {
  for (const auto asked : walk.touched) walk.change.steps[std::to_string(asked)] = walk.state.part->steps[asked];
  walk.touched.clear();
}

void stand_at(WalkDraft& walk, const TrayStep& step) {
  if (step.slot != walk.state.part->slot) {
    put_down(walk);
    take_in_hand(walk.state, slot_text(step.slot));
    walk.change.turn = slot_text(step.slot);
  }
  walk.state.standing.pointer = step.asked;
}

std::size_t place_in_plan(const WalkState& walk) {
  const TrayStep now{walk.part->slot, walk.standing.pointer};
  const auto found = std::find(walk.tray_order.begin(), walk.tray_order.end(), now);
  return found == walk.tray_order.end() ? 0 : static_cast<std::size_t>(found - walk.tray_order.begin());
}

std::optional<TrayStep> next_from(const WalkState& walk, std::size_t from) {
  for (std::size_t n = 0; n < walk.tray_order.size(); ++n) {
    const auto& step = walk.tray_order[(from + n) % walk.tray_order.size()];
    const auto* part = part_in_slot(walk, step.slot);
    if (part && part->end.empty() && part->steps[step.asked].status == "open") return step;
  }
  return {};
}

/// All parts have ended. The part before is that of the last value that counted, which *again* may still reach.
void end_tray(WalkDraft& walk) {
  auto& state = walk.state;
  std::string before = slot_text(state.part->slot);
  if (state.standing.counted)
    for (const auto& [slot, part] : state.others)
      if (part.serial == state.standing.counted->serial) before = slot;
  walk.change.tray_ended = before;
  if (const auto other = state.others.find(before); other != state.others.end()) state.previous = std::move(other->second);
  else state.previous = std::move(*state.part);
  state.part.reset();
  state.others.clear();
  state.tray_order.clear();
  state.standing.pointer = 0;
}

}  // namespace

bool in_tray(const WalkState& walk) { return !walk.standing.in_previous && walk.part && walk.part->slot > 0; }

std::optional<TrayStep> next_on_tray(const WalkState& walk, bool after_present) {
  return next_from(walk, place_in_plan(walk) + (after_present ? 1 : 0));
}

bool used_on(const PartState& part, const std::string& gauge) {
  return std::any_of(part.steps.begin(), part.steps.end(), [&](const StepState& step) {
    return std::any_of(step.attempts.begin(), step.attempts.end(), [&](const Attempt& attempt) { return attempt.gauge == gauge; });
  });
}

bool begun_with(const PartState& part, const std::string& gauge) {
  return part.slot > 0 ? used_on(part, gauge) : part_touched(part);
}

bool anything_touched(const WalkState& walk) {
  return (walk.part && part_touched(*walk.part)) ||
         std::any_of(walk.others.begin(), walk.others.end(), [](const auto& other) { return part_touched(other.second); });
}

void begin_tray(Draft& draft, WalkDraft& walk, LotDraft& lot, const std::vector<std::int64_t>& serials) {
  std::map<std::string, PartState> parts;
  for (const auto serial : serials) {
    PartState part = new_part(draft, walk, lot, serial);
    part.slot = static_cast<std::int64_t>(parts.size()) + 1;
    part.key = "." + std::to_string(serial);
    lot.write(claim_key(part.stage, serial)).part = part.key;
    parts.emplace(slot_text(part.slot), std::move(part));
  }
  auto order = plan_of_tray(draft, walk, parts.at("1").asked, parts.size());
  const auto first = parts.find(order.empty() ? "1" : slot_text(order.front().slot));
  walk.state.part = std::move(first->second);
  parts.erase(first);
  auto& standing = walk.state.standing;
  standing.pointer = order.empty() ? 0 : order.front().asked;
  standing.between = false;
  walk.state.others = std::move(parts);
  walk.state.tray_order = std::move(order);
  walk.change.part = walk.state.part;
  if (walk.before) walk.change.tray = TrayBegun{walk.state.others, walk.state.tray_order};
}

void go_on_on_tray(WalkDraft& walk) {
  if (const auto next = next_on_tray(walk.state, false)) stand_at(walk, *next);
}

void go_to_start_of_tray(WalkDraft& walk) {
  if (const auto next = next_from(walk.state, 0)) stand_at(walk, *next);
}

void go_to_start_of_part(WalkDraft& walk) {
  for (const auto& step : walk.state.tray_order)
    if (step.slot == walk.state.part->slot && walk.state.part->steps[step.asked].status == "open") {
      walk.state.standing.pointer = step.asked;
      return;
    }
}

void end_part_on_tray(Draft& draft, WalkDraft& walk) {
  put_down(walk);
  walk.change.tray_part_ended = walk.state.part->end;
  ++walk.state.ended_parts;
  if (const auto next = next_on_tray(walk.state, false)) return stand_at(walk, *next);
  end_tray(walk);
  begin_next_part(draft, walk, false);
}

bool reach_on_tray(WalkDraft& walk, const std::function<bool(const PartState&)>& wanted) {
  if (!in_tray(walk.state)) return false;
  if (wanted(*walk.state.part)) return true;
  auto& standing = walk.state.standing;
  for (const auto& [slot, part] : walk.state.others) {
    if (!wanted(part)) continue;
    walk.change.reach = slot;
    take_in_hand(walk.state, std::string(slot));
    // What was held, begun or asked for belongs to the part that leaves the hand.
    if (standing.hold && !standing.hold->hard) standing.hold.reset();
    standing.capture.clear();
    standing.asked_gauge.clear();
    return true;
  }
  return false;
}

void open_part_again(Draft& draft, WalkDraft& walk) {
  if (!in_tray(walk.state) || walk.state.part->end.empty()) return;
  auto& part = *walk.state.part;
  part.end.clear();
  --walk.state.ended_parts;
  walk.change.reopened = true;
  draft.lot(walk.state.lot).write(claim_key(part.stage, part.serial)).end.clear();
}

}  // namespace tallystick::walk
