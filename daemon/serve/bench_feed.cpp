#include "daemon/serve/bench_feed.hpp"

namespace tallystick::serve {

bool BenchFeed::update(const boost::json::value& view) {
  if (!view.is_object()) return false;
  const auto next = mark_ + 1;
  bool changed = false;
  const auto set = [&](const std::string& name, std::string text) {
    auto& member = members_[name];
    if (member.changed != 0 && member.text == text) return;
    member = {std::move(text), next};
    changed = true;
  };
  for (const auto& [name, value] : view.as_object()) set(std::string(name), boost::json::serialize(value));
  // A member that is gone is told as null: a viewer that had it must not keep the old one.
  for (auto& [name, member] : members_)
    if (!view.as_object().contains(name)) set(name, "null");
  if (!changed) return false;
  mark_ = next;
  const auto* sequence = view.as_object().if_contains("sequence");
  boost::system::error_code code;
  if (sequence) sequence_ = sequence->to_number<std::uint64_t>(code);
  return true;
}

std::optional<BenchFeed::Message> BenchFeed::message_after(std::uint64_t mark) const {
  if (mark_ == 0 || mark >= mark_) return std::nullopt;
  Message message{{}, sequence_, mark_};
  message.text = mark == 0 ? R"({"type":"snapshot","sequence":)" : R"({"type":"change","sequence":)";
  message.text += std::to_string(sequence_) + R"(,"view":{)";
  bool first = true;
  for (const auto& [name, member] : members_) {
    if (member.changed <= mark) continue;
    if (!first) message.text += ',';
    first = false;
    message.text += boost::json::serialize(boost::json::string(name)) + ':' + member.text;
  }
  message.text += "}}";
  return message;
}

}  // namespace tallystick::serve
