#include "drivers/ports/usb_lines.hpp"

#include <libudev.h>

#include <cstdlib>
#include <memory>
#include <string_view>

namespace tallystick::ports {
namespace {

template <auto release>
struct Release {
  template <class Thing>
  void operator()(Thing* thing) const {
    release(thing);
  }
};
using Context = std::unique_ptr<udev, Release<udev_unref>>;
using Enumeration = std::unique_ptr<udev_enumerate, Release<udev_enumerate_unref>>;
using Device = std::unique_ptr<udev_device, Release<udev_device_unref>>;

std::string text_or_none(const char* text) { return text ? text : ""; }

std::string attribute(udev_device* device, const char* name) {
  return text_or_none(::udev_device_get_sysattr_value(device, name));
}

void take_links(udev_device* device, FoundPort& out) {
  for (auto* entry = ::udev_device_get_devlinks_list_entry(device); entry;
       entry = ::udev_list_entry_get_next(entry)) {
    const std::string link = text_or_none(::udev_list_entry_get_name(entry));
    if (link.find("/serial/by-id/") != std::string::npos && (out.by_id.empty() || link < out.by_id))
      out.by_id = link;
    if (link.find("/serial/by-path/") != std::string::npos && (out.by_path.empty() || link < out.by_path))
      out.by_path = link;
  }
}

/// False where it is no line of a USB device.
bool describe(udev_device* device, FoundPort& out) {
  // Both parents belong to `device`.
  auto* usb = ::udev_device_get_parent_with_subsystem_devtype(device, "usb", "usb_device");
  if (!usb || !::udev_device_get_devnode(device)) return false;
  out.usb = true;
  out.node = ::udev_device_get_devnode(device);
  out.usb_port = text_or_none(::udev_device_get_sysname(usb));
  out.usb_id = attribute(usb, "idVendor") + ':' + attribute(usb, "idProduct");
  out.serial = attribute(usb, "serial");
  out.maker = attribute(usb, "manufacturer");
  out.product = attribute(usb, "product");
  if (auto* interface = ::udev_device_get_parent_with_subsystem_devtype(device, "usb", "usb_interface")) {
    out.driver = text_or_none(::udev_device_get_driver(interface));
    const auto number = attribute(interface, "bInterfaceNumber");
    if (!number.empty()) out.usb_interface = static_cast<int>(std::strtol(number.c_str(), nullptr, 16));
  }
  take_links(device, out);
  name_best_key(out);
  return true;
}

}  // namespace

std::vector<FoundPort> usb_lines() {
  std::vector<FoundPort> out;
  const Context context(::udev_new());
  const Enumeration all(context ? ::udev_enumerate_new(context.get()) : nullptr);
  if (!all || ::udev_enumerate_add_match_subsystem(all.get(), "tty") < 0 ||
      ::udev_enumerate_add_match_sysname(all.get(), "ttyUSB*") < 0 ||
      ::udev_enumerate_add_match_sysname(all.get(), "ttyACM*") < 0 ||
      ::udev_enumerate_scan_devices(all.get()) < 0) {
    out = find_ports();
    std::erase_if(out, [](const FoundPort& port) { return !port.usb; });
    return out;
  }
  for (auto* entry = ::udev_enumerate_get_list_entry(all.get()); entry;
       entry = ::udev_list_entry_get_next(entry)) {
    const Device device(::udev_device_new_from_syspath(context.get(), ::udev_list_entry_get_name(entry)));
    FoundPort port;
    if (device && describe(device.get(), port)) out.push_back(std::move(port));  // null: it went meanwhile
  }
  return out;
}

}  // namespace tallystick::ports
