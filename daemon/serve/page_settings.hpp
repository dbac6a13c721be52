// What GET /api/v1/page tells the pages of the shop: names of benches, people, masters, tools; decimal mark,
// theme.
#pragma once

#include <boost/json.hpp>

#include "daemon/shop/shop_config.hpp"

namespace tallystick::serve {

/// For `Surroundings::page`: {shop, decimal_mark, theme, language, people: [{name, role}], benches, masters,
/// tools}, the last three as id -> name.
boost::json::object page_settings(const shop::ShopConfig& config);

}  // namespace tallystick::serve
