#include "daemon/serve/bench_feed.hpp"

namespace tallystick::serve {

void BenchFeed::set(std::string_view name, std::string_view text, std::uint64_t mark) {
  const auto known = members_.find(name);
  if (known == members_.end()) {
    members_.emplace(std::string(name), Member{std::string(text), mark});
    return;
  }
  if (known->second.text == text) return;
  known->second.text = text;
  known->second.changed = mark;
}

bool BenchFeed::update(const boost::json::value& view) {
  if (!view.is_object()) return false;
  const auto next = mark_ + 1;
  for (const auto& [name, value] : view.as_object()) set(std::string(name), boost::json::serialize(value), next);
  // A member that is gone is told as null: a viewer that had it must not keep the old one.
  for (const auto& [name, member] : members_)
    if (!view.as_object().contains(name)) set(name, "null", next);
  bool changed = false;
  for (const auto& [name, member] : members_) changed = changed || member.changed == next;
  if (!changed) return false;
  mark_ = next;
  const auto* sequence = view.as_object().if_contains("sequence");
  boost::system::error_code code;
  if (sequence) sequence_ = sequence->to_number<std::uint64_t>(code);
  return true;
}

bool BenchFeed::update(const walk::ViewText& view) {
  if (mark_ != 0 && view.sequence == copied_) return false;
  const auto next = mark_ + 1;
  for (const auto& member : view.members)
    if (mark_ == 0 || member.changed > copied_) set(member.name, member.text, next);
  set("sequence", std::to_string(view.sequence), next);
  copied_ = sequence_ = view.sequence;
  mark_ = next;
  return true;
}

std::optional<BenchFeed::Message> BenchFeed::message_after(std::uint64_t mark) const {
  if (mark_ == 0 || mark >= mark_) return std::nullopt;
  if (!made_ || made_from_ != mark || made_to_ != mark_) {
    std::string text = mark == 0 ? R"({"type":"snapshot","sequence":)" : R"({"type":"change","sequence":)";
    text += std::to_string(sequence_) + R"(,"view":{)";
    bool first = true;
    for (const auto& [name, member] : members_) {
      if (member.changed <= mark) continue;
      if (!first) text += ',';
      first = false;
      mirror::append_string(text, name);
      text += ':';
      text += member.text;
    }
    text += "}}";
    made_ = std::make_shared<const std::string>(std::move(text));
    made_from_ = mark;
    made_to_ = mark_;
  }
  return Message{made_, sequence_, mark_};
}

}  // namespace tallystick::serve
