#include "daemon/serve/page_settings.hpp"

namespace tallystick::serve {
namespace {

template <class Named>
boost::json::object names_of(const std::vector<Named>& all) {
  boost::json::object out;
  for (const auto& each : all)
    if (!each.name.empty()) out[each.id] = each.name;
  return out;
}

}  // namespace

boost::json::object page_settings(const shop::ShopConfig& config) {
  boost::json::array people;
  for (const auto& person : config.people) people.push_back({{"name", person.name}, {"role", person.role}});
  return {{"shop", config.name},
          {"decimal_mark", config.decimal_mark},
          {"theme", config.theme},
          {"language", config.language},
          {"people", std::move(people)},
          {"benches", names_of(config.benches)},
          {"masters", names_of(config.masters)},
          {"tools", names_of(config.tools)}};
}

}  // namespace tallystick::serve
