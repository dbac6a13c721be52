#include "drivers/ports/found_ports.hpp"

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <map>
#include <optional>

namespace tallystick::ports {
namespace {

namespace files = std::filesystem;

/// The first line of a small file, without blanks at its end; empty where it cannot be read.
std::string line_of(const files::path& file) {
  std::ifstream stream(file);
  std::string line;
  std::getline(stream, line);
  while (!line.empty() && (line.back() == ' ' || line.back() == '\r')) line.pop_back();
  return line.substr(0, 200);
}

/// Name of the node that each link of a folder leads to -> the link.
std::map<std::string, std::string> links_in(const files::path& folder) {
  std::map<std::string, std::string> out;
  std::error_code code;
  for (files::directory_iterator entry(folder, code), end; !code && entry != end; entry.increment(code)) {
    std::error_code unreadable;
    const auto target = files::read_symlink(entry->path(), unreadable);
    if (unreadable) continue;
    const auto [at, fresh] = out.emplace(target.filename().string(), entry->path().string());
    if (!fresh && entry->path().string() < at->second) at->second = entry->path().string();
  }
  return out;
}

/// Where the tty has hardware behind it. A port of a PC's board that does not exist has type 0
/// (PORT_UNKNOWN).
std::optional<files::path> device_of(const files::path& tty) {
  std::error_code code;
  const auto device = files::canonical(tty / "device", code);
  if (code) return std::nullopt;
  const auto type = line_of(tty / "type");
  if (type == "0") return std::nullopt;
  if (!files::exists(device / "driver", code)) return std::nullopt;
  return device;
}

/// The driver that knows the hardware. Newer kernels put a node of their own, with a driver "port", between
/// it and the tty.
std::string driver_of(files::path folder) {
  std::error_code code;
  for (; folder.has_parent_path() && folder != folder.root_path(); folder = folder.parent_path()) {
    const auto driver = files::read_symlink(folder / "driver", code).filename().string();
    if (!code && driver != "port" && driver != "ctrl") return driver;
  }
  return {};
}

/// The nearest folder upwards that has the file: "idVendor" finds the USB device, "bInterfaceNumber" its
/// interface.
std::optional<files::path> upwards_with(files::path folder, const char* file) {
  std::error_code code;
  for (; folder.has_parent_path() && folder != folder.root_path(); folder = folder.parent_path())
    if (files::exists(folder / file, code)) return folder;
  return std::nullopt;
}

void describe_usb(const files::path& device, const files::path& usb, FoundPort& port) {
  port.usb = true;
  port.usb_port = usb.filename().string();
  port.usb_id = line_of(usb / "idVendor") + ':' + line_of(usb / "idProduct");
  port.maker = line_of(usb / "manufacturer");
  port.product = line_of(usb / "product");
  port.serial = line_of(usb / "serial");
  if (const auto interface = upwards_with(device, "bInterfaceNumber"))
    port.usb_interface =
        static_cast<int>(std::strtol(line_of(*interface / "bInterfaceNumber").c_str(), nullptr, 16));
}

std::string get(const std::map<std::string, std::string>& links, const std::string& name) {
  const auto at = links.find(name);
  return at == links.end() ? std::string() : at->second;
}

}  // namespace

void name_best_key(FoundPort& port) {
  // Without a serial number two adapters of one make have the same by-id name, and only one of them gets it.
  const bool ambiguous = port.usb && port.serial.empty();
  port.path = !port.by_id.empty() && !ambiguous ? port.by_id
              : !port.by_path.empty()           ? port.by_path
              : !port.by_id.empty()             ? port.by_id
                                                : port.node;
  if (ambiguous)
    port.warnings.emplace_back(
        "it has no serial number: it is named by its socket, so plug it in there always");
  if (port.usb && port.path == port.node)
    port.warnings.emplace_back("it has no stable name: its number depends on the order of plugging in");
}

std::vector<FoundPort> find_ports(const FoundIn& in) {
  const auto by_id = links_in(in.devices / "serial" / "by-id");
  const auto by_path = links_in(in.devices / "serial" / "by-path");
  std::vector<FoundPort> out;
  std::error_code code;
  for (files::directory_iterator entry(in.classes, code), end; !code && entry != end; entry.increment(code)) {
    const auto device = device_of(entry->path());
    if (!device) continue;
    const auto name = entry->path().filename().string();
    FoundPort port;
    port.node = (in.devices / name).string();
    port.by_id = get(by_id, name);
    port.by_path = get(by_path, name);
    port.driver = driver_of(*device);
    if (const auto usb = upwards_with(*device, "idVendor")) describe_usb(*device, *usb, port);
    name_best_key(port);
    out.push_back(std::move(port));
  }
  std::sort(out.begin(), out.end(), [](const FoundPort& a, const FoundPort& b) {
    return a.usb != b.usb                   ? a.usb
           : a.node.size() != b.node.size() ? a.node.size() < b.node.size()
                                            : a.node < b.node;
  });
  return out;
}

}  // namespace tallystick::ports
