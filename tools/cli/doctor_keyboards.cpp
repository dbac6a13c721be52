#include <grp.h>
#include <sys/stat.h>

#include <algorithm>
#include <cstdio>

#include "tools/cli/doctor.hpp"

namespace tallystick::cli {
namespace {

bool may_read(const struct stat& about, const Identity& who) {
  if (who.user == 0) return true;
  if (about.st_uid == who.user) return (about.st_mode & S_IRUSR) != 0;
  const bool of_group = std::find(who.groups.begin(), who.groups.end(), about.st_gid) != who.groups.end();
  return (about.st_mode & (of_group ? S_IRGRP : S_IROTH)) != 0;
}

std::string mode_of(const struct stat& about) {
  char text[8];
  std::snprintf(text, sizeof text, "%04o", static_cast<unsigned>(about.st_mode) & 07777U);
  return text;
}

std::string group_name(gid_t id) {
  const group* entry = ::getgrgid(id);
  return entry ? entry->gr_name : std::to_string(id);
}

/// The narrow way, for this kind of device only; and the wide one, with what it means.
std::string way_in(const ports::FoundKeyboard& device, const struct stat& about, const Identity& who) {
  char ids[80];
  std::snprintf(ids, sizeof ids, "ATTRS{idVendor}==\"%04x\", ATTRS{idProduct}==\"%04x\"",
                static_cast<unsigned>(device.vendor), static_cast<unsigned>(device.product));
  const std::string rule =
      "a rule of udev for this device alone, in /etc/udev/rules.d/71-tallystick-keys.rules: "
      "SUBSYSTEM==\"input\", KERNEL==\"event*\", " +
      std::string(ids) + ", GROUP=\"" + who.name + "\", MODE=\"0660\"; then plug it in again";
  const bool by_group = (about.st_mode & S_IRGRP) != 0 && about.st_gid != 0;
  const std::string group = by_group ? group_name(about.st_gid) : "input";
  return rule + ". Or: sudo usermod -aG " + group + ' ' + who.name +
         ", then start the daemon anew (it may then read "
         "every keyboard of this machine)";
}

}  // namespace

Diagnosis check_keyboard(const std::string& port, const ports::KeyboardSettings& settings, bool types,
                         const Identity& who, const ports::InputRoots& in) {
  const auto device = ports::choose_keyboard(settings, types, ports::find_keyboards(in), port);
  if (!device) {
    const auto& why = device.error();
    return {"port", Grade::fault, why.code, why.what, "port " + port, why.hint};
  }
  struct stat about {};
  if (::stat(device->node.c_str(), &about) != 0)
    return {"port", Grade::fault, "port_absent", "its node is not there", device->node, "plug it in again"};
  if (may_read(about, who))
    return {"port",       Grade::good, "", who.name + " may read it: " + ports::described(*device),
            device->node, ""};
  return {"port",
          Grade::fault,
          "port_denied",
          who.name + " may not read " + ports::described(*device) + " (group " + group_name(about.st_gid) +
              ", mode " + mode_of(about) + ")",
          device->node,
          way_in(*device, about, who)};
}

}  // namespace tallystick::cli
