#include "daemon/shop/notices.hpp"

#include <algorithm>
#include <set>

#include "daemon/checklist/edition.hpp"
#include "daemon/measure/json_mirror.hpp"

namespace tallystick::shop {

namespace {

/// The same thing at the same place is the same notice, whenever it comes.
std::string id_of(std::string_view source, const Condition& condition) {
  std::string name(source);
  for (const auto& part : {condition.code, condition.where}) name += '\n' + part;
  return checklist::sha256_hex(name).substr(0, 16);
}

}  // namespace

bool Notices::stand(std::string_view source, const std::vector<Condition>& conditions,
                    const std::string& utc) {
  bool changed = false;
  std::set<std::string> now;
  for (const auto& condition : conditions) {
    const auto id = id_of(source, condition);
    now.insert(id);
    auto [at, is_new] = notices_.try_emplace(id);
    auto& notice = at->second;
    if (!is_new && notice.standing) {
      if (notice.what == condition.what && notice.hint == condition.hint) continue;
      notice.what = condition.what;
      notice.hint = condition.hint;
      changed = true;
      continue;
    }
    const auto first = is_new ? utc : notice.first_utc;
    const auto count = is_new ? 1 : notice.count + 1;
    notice = {id,
              std::string(source),
              condition.severity,
              condition.code,
              condition.where,
              condition.what,
              condition.hint,
              first,
              utc,
              count,
              true,
              "",
              ""};
    changed = true;
  }
  for (auto& [id, notice] : notices_) {
    if (notice.source != source || !notice.standing || now.contains(id)) continue;
    notice.standing = false;
    changed = true;
  }
  if (changed) keep_bounded();
  return changed;
}

Expected<Notice> Notices::clear(std::string_view id, const std::string& person, const std::string& utc) {
  const auto at = notices_.find(std::string(id));
  if (at == notices_.end())
    return fail("unknown_notice", "there is no notice " + quoted(id.substr(0, 40)), "notice",
                "GET /api/v1/notices lists them");
  if (person.empty()) return fail("wrong_shape", "a notice is cleared with a name", "person");
  auto& notice = at->second;
  if (!notice.cleared_by.empty())
    return fail("not_now", notice.cleared_by + " cleared it at " + notice.cleared_utc, "notice",
                "look at the page again");
  notice.cleared_by = person;
  notice.cleared_utc = utc;
  return notice;
}

std::vector<Notice> Notices::all() const {
  std::vector<Notice> out;
  for (const auto& [id, notice] : notices_) out.push_back(notice);
  std::stable_sort(out.begin(), out.end(), [](const Notice& a, const Notice& b) {
    if (a.cleared_by.empty() != b.cleared_by.empty()) return a.cleared_by.empty();
    if (a.severity != b.severity) return a.severity == "fault";
    return a.last_utc > b.last_utc;
  });
  return out;
}

void Notices::keep_bounded() {
  while (notices_.size() > most) {
    // The oldest that is over and cleared goes; if there is none, the oldest that is over.
    auto oldest = notices_.end();
    for (auto at = notices_.begin(); at != notices_.end(); ++at) {
      if (at->second.standing) continue;
      const auto rank = [](const Notice& one) { return std::pair(one.cleared_by.empty(), one.last_utc); };
      if (oldest == notices_.end() || rank(at->second) < rank(oldest->second)) oldest = at;
    }
    if (oldest == notices_.end()) return;
    notices_.erase(oldest);
  }
}

std::string Notices::to_json_text() const { return mirror::text(all()); }

Done Notices::load(std::string_view json) {
  auto kept = mirror::parse<std::vector<Notice>>(json);
  if (!kept) return tl::unexpected(kept.error());
  for (auto& notice : *kept) {
    notice.standing = false;
    notices_[notice.id] = std::move(notice);
  }
  return {};
}

}  // namespace tallystick::shop
