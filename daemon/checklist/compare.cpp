// What differs between two editions, and which sizes publishing would touch.
#include <algorithm>
#include <boost/mp11/algorithm.hpp>

#include "daemon/checklist/family.hpp"
#include "daemon/measure/json_mirror.hpp"

namespace tallystick::checklist {
namespace {

template <class T>
std::string member_text(const T& value) {
  if constexpr (std::is_same_v<T, std::string>)
    return value;
  else
    return boost::json::serialize(mirror::write(value));
}

template <class T>
void compare_members(const T& before, const T& after, const std::string& feature,
                     std::vector<Difference>& out) {
  boost::mp11::mp_for_each<boost::describe::describe_members<T, boost::describe::mod_public>>(
      [&](auto member) {
        using Member = std::decay_t<decltype(before.*member.pointer)>;
        if constexpr (!std::is_same_v<Member, std::vector<Feature>>) {
          if (std::string_view(member.name) == "number" || before.*member.pointer == after.*member.pointer)
            return;
          out.push_back({feature, member.name, member_text(before.*member.pointer),
                         member_text(after.*member.pointer)});
        }
      });
}

std::vector<Feature>::const_iterator find(const Edition& edition, const std::string& key) {
  return std::find_if(edition.features.begin(), edition.features.end(),
                      [&](const Feature& feature) { return feature.key == key; });
}

std::vector<std::string> shared_keys(const Edition& edition, const Edition& other) {
  std::vector<std::string> out;
  for (const auto& feature : edition.features)
    if (find(other, feature.key) != other.features.end()) out.push_back(feature.key);
  return out;
}

std::string joined(const std::vector<std::string>& keys) {
  std::string out;
  for (const auto& key : keys) out += (out.empty() ? "" : ", ") + key;
  return out;
}

}  // namespace

std::vector<Difference> compare(const Edition& before, const Edition& after) {
  std::vector<Difference> out;
  compare_members(before, after, "", out);
  for (const auto& feature : before.features) {
    const auto other = find(after, feature.key);
    if (other == after.features.end())
      out.push_back({feature.key, "feature", feature.name, ""});
    else
      compare_members(feature, *other, feature.key, out);
  }
  for (const auto& feature : after.features)
    if (find(before, feature.key) == before.features.end())
      out.push_back({feature.key, "feature", "", feature.name});
  const auto order_before = shared_keys(before, after), order_after = shared_keys(after, before);
  if (order_before != order_after) out.push_back({"", "order", joined(order_before), joined(order_after)});
  return out;
}

Publishing publishing(const std::vector<Edition>& worked_out, const std::vector<Edition>& published) {
  Publishing out;
  for (const auto& edition : worked_out) {
    std::int64_t highest = 0;
    const Edition* newest = nullptr;
    for (const auto& one : published) {
      if (one.family != edition.family || one.size != edition.size) continue;
      highest = std::max(highest, one.number);  // numbers count within family and size, over its revisions
      if (one.print_revision == edition.print_revision && (newest == nullptr || one.number > newest->number))
        newest = &one;
    }
    auto numbered = edition;
    numbered.number = newest != nullptr ? newest->number : 0;
    if (newest != nullptr && numbered == *newest) {
      out.unchanged.push_back(*newest);
      continue;
    }
    numbered.number = highest + 1;
    out.publish.push_back(std::move(numbered));
  }
  return out;
}

}  // namespace tallystick::checklist
