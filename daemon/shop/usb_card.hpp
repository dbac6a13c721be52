// The keys of a [[port]] that name a serial line on USB. Pure.
#pragma once

#include "daemon/checklist/toml_reader.hpp"
#include "daemon/shop/shop_config.hpp"

namespace tallystick::shop {

/// usb_serial, usb_port, usb_id, usb_interface; each wrong text is a fault of the table. How many of them
/// stand is the caller's matter.
UsbCard read_usb(checklist::TomlTable& table);

}  // namespace tallystick::shop
