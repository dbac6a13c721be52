#include <grp.h>
#include <pwd.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <fstream>
#include <map>

#include "drivers/ports/access.hpp"
#include "tools/cli/doctor.hpp"

namespace tallystick::cli {
namespace {

namespace files = std::filesystem;

std::string first_line(const files::path& file) {
  std::ifstream in(file);
  std::string out;
  std::getline(in, out);
  return out;
}

std::string group_name(gid_t id) {
  const group* entry = ::getgrgid(id);
  return entry ? entry->gr_name : std::to_string(id);
}

bool in_group(const Identity& who, gid_t id) {
  return std::find(who.groups.begin(), who.groups.end(), id) != who.groups.end();
}

/// Read and write, by the node's mode; root may always.
bool may_use(const struct stat& about, const Identity& who) {
  if (who.user == 0) return true;
  const auto both = [&](unsigned shift) { return ((about.st_mode >> shift) & 06U) == 06U; };
  if (about.st_uid == who.user) return both(6);
  return in_group(who, about.st_gid) ? both(3) : both(0);
}

bool is_number(const std::string& text) {
  return !text.empty() &&
         std::all_of(text.begin(), text.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
}

/// Runs `visit` for every process of the tree; processes that end meanwhile, or that we may not look into,
/// are skipped.
template <class Visit>
void each_process(const Roots& roots, Visit visit) {
  std::error_code ignored;
  for (const auto& entry : files::directory_iterator(roots.proc, ignored))
    if (const auto id = entry.path().filename().string(); is_number(id)) visit(id, entry.path());
}

std::string node_of(const std::string& path) {
  std::error_code code;
  const auto node = files::canonical(path, code);
  return code ? path : node.string();
}

/// The folder of the USB device behind a tty; empty where it is none.
files::path usb_device_of(const std::string& path, const Roots& roots) {
  std::error_code code;
  auto folder =
      files::canonical(roots.sys / "class/tty" / files::path(node_of(path)).filename() / "device", code);
  for (int up = 0; !code && up < 5 && folder.has_relative_path(); ++up, folder = folder.parent_path())
    if (files::exists(folder / "idVendor", code)) return folder;
  return {};
}

}  // namespace

Expected<Identity> identity_of(const std::string& name) {
  const passwd* entry = ::getpwnam(name.c_str());
  if (entry == nullptr)
    return fail("unknown_user", "this machine has no user " + tallystick::quoted(name), "--user",
                "name the user that the daemon runs as");
  Identity out{name, entry->pw_uid, std::vector<gid_t>(256)};
  int count = static_cast<int>(out.groups.size());
  if (::getgrouplist(name.c_str(), entry->pw_gid, out.groups.data(), &count) < 0)
    count = static_cast<int>(out.groups.size());
  out.groups.resize(static_cast<std::size_t>(count));
  return out;
}

Diagnosis check_usb_key(const ports::UsbKey& key, const std::vector<ports::FoundPort>& lines,
                        std::string& node) {
  const auto line = ports::UsbChoice(key).among(lines, "");
  if (!line)
    return {"port", Grade::fault, line.error().code, line.error().what, text(key), line.error().hint};
  node = line->node;
  return {"port", Grade::good, "", "it is in socket " + line->usb_port, text(key) + " (" + node + ')', ""};
}

Diagnoses check_plain_node(const std::string& path, const std::vector<ports::FoundPort>& lines) {
  if (!ports::is_plain_usb_node(path)) return {};
  const auto line =
      std::find_if(lines.begin(), lines.end(), [&](const auto& one) { return one.node == path; });
  const auto better = line == lines.end() ? std::string() : ports::better_key(*line, lines);
  return {{"port", Grade::warning, "plain_node",
           "its number depends on the order of plugging in: it may be another gauge tomorrow", path,
           better.empty() ? "plug it in, run this again, and write the key that is then named here"
                          : "in its [[port]] write " + better + " in place of path"}};
}

Diagnoses check_free_lines(const std::vector<ports::FoundPort>& lines, const std::vector<std::string>& used) {
  Diagnoses out;
  for (const auto& line : lines) {
    if (std::find(used.begin(), used.end(), line.node) != used.end()) continue;
    const auto name = line.maker + (line.maker.empty() || line.product.empty() ? "" : " ") + line.product;
    out.push_back({"port", Grade::good, "",
                   "plugged in, and no port's: " + (name.empty() ? line.usb_id : name) + "; its key is " +
                       ports::better_key(line, lines),
                   line.node, ""});
  }
  return out;
}

Diagnosis check_port_access(const std::string& path, const Identity& who, bool must_be_device) {
  struct stat about {};
  if (::stat(path.c_str(), &about) != 0) {
    std::error_code code;
    const bool dangling = files::is_symlink(files::symlink_status(path, code));
    return {"port",
            Grade::fault,
            "port_absent",
            dangling ? "the link leads to nothing: the adapter is not plugged in"
                     : "nothing is plugged in under this path",
            path,
            "plug the adapter in; ls -l /dev/serial/by-id /dev/serial/by-path shows what is there; then mend "
            "`path` of the port"};
  }
  if (must_be_device && !S_ISCHR(about.st_mode))
    return {"port",
            Grade::fault,
            "not_a_serial_line",
            "this is no serial line",
            path,
            "name a link of /dev/serial/by-id or /dev/serial/by-path"};
  if (may_use(about, who)) return {"port", Grade::good, "", who.name + " may read and write it", path, ""};
  const auto group = group_name(about.st_gid);
  const bool by_group = (about.st_mode & 060U) == 060U && about.st_gid != 0;
  return {"port",
          Grade::fault,
          "port_denied",
          who.name + " may not read and write it (group " + group + ", mode " +
              [&] {
                char text[8];
                std::snprintf(text, sizeof text, "%04o", static_cast<unsigned>(about.st_mode) & 07777U);
                return std::string(text);
              }() +
              ")",
          path,
          by_group ? "sudo usermod -aG " + group + ' ' + who.name + ", then start the daemon anew"
                   : "install the rules of udev that come with the daemon, then unplug the adapter and plug "
                     "it in again; "
                     "for now: sudo chgrp dialout " +
                         node_of(path) + " && sudo chmod 0660 " + node_of(path)};
}

Diagnoses check_port_holders(const std::string& path, const Roots& roots) {
  Diagnoses out;
  const auto node = node_of(path);
  each_process(roots, [&](const std::string& id, const files::path& process) {
    std::error_code code;
    for (const auto& open : files::directory_iterator(process / "fd", code)) {
      std::error_code gone;
      if (files::read_symlink(open.path(), gone) != node || gone) continue;
      const auto program = first_line(process / "comm");
      if (program == "tallystickd") {
        out.push_back({"port", Grade::good, "", "held by the daemon (process " + id + ")", path, ""});
      } else if (id != std::to_string(::getpid())) {
        out.push_back({"port", Grade::fault, "port_busy",
                       "held open by " + (program.empty() ? "a program" : program) + " (process " + id + ")",
                       path, "end it (kill " + id + "), or have it leave this port alone"});
      }
      return;
    }
  });
  return out;
}

Diagnoses check_port_grabbers(const Roots& roots) {
  struct Known {
    const char *program, *what, *remedy;
  };
  // Names as the kernel keeps them: at most 15 letters.
  static constexpr std::array<Known, 4> known{{
      {"ModemManager", "a modem manager sends text to every new serial line, to the gauge too",
       "install the rules of udev that come with the daemon (they set ID_MM_DEVICE_IGNORE), or: sudo "
       "systemctl disable --now ModemManager"},
      {"brltty", "a driver of braille displays takes some USB adapters away",
       "sudo systemctl mask --now brltty.path brltty.service"},
      {"gpsd", "a receiver of positions opens serial lines that are new",
       "sudo systemctl disable --now gpsd.socket gpsd.service"},
      {"agetty", "a console may stand on a serial line",
       "if it does (ps -C agetty -o args): sudo systemctl mask --now serial-getty@NAME.service"},
  }};
  Diagnoses out;
  each_process(roots, [&](const std::string& id, const files::path& process) {
    const auto program = first_line(process / "comm");
    for (const auto& one : known) {
      if (program != one.program) continue;
      // A console on a screen does no harm: only one whose terminal is a serial line.
      if (program == "agetty") {
        std::ifstream in(process / "cmdline", std::ios::binary);
        const std::string line{std::istreambuf_iterator<char>(in), {}};
        if (line.find("ttyS") == std::string::npos && line.find("ttyUSB") == std::string::npos &&
            line.find("ttyACM") == std::string::npos)
          continue;
      }
      out.push_back(
          {"port", Grade::warning, "port_grabber", one.what, program + " (process " + id + ")", one.remedy});
    }
  });
  return out;
}

Diagnoses check_line_settings(const std::string& path, const Roots& roots) {
  Diagnoses out;
  const auto name = files::path(node_of(path)).filename();
  const auto latency = first_line(roots.sys / "class/tty" / name / "device/latency_timer");
  if (is_number(latency) && latency.size() < 6 && std::stoi(latency) > 1)
    out.push_back({"line", Grade::warning, "slow_line",
                   "the adapter waits up to " + latency + " ms before it hands bytes on", path,
                   "echo 1 | sudo tee /sys/class/tty/" + name.string() + "/device/latency_timer"});
  const auto usb = usb_device_of(path, roots);
  if (!usb.empty() && first_line(usb / "power/control") == "auto")
    out.push_back({"line", Grade::warning, "usb_suspends",
                   "the adapter may be put to sleep: a first press can then be lost", path,
                   "echo on | sudo tee " + (usb / "power/control").string()});
  return out;
}

Diagnoses check_same_serials(const Roots& roots) {
  std::map<std::string, std::vector<std::string>> places;
  std::error_code code;
  for (const auto& entry : files::directory_iterator(roots.sys / "class/tty", code)) {
    const auto usb = usb_device_of(entry.path().filename().string(), roots);
    if (usb.empty()) continue;
    const auto identity =
        first_line(usb / "idVendor") + ':' + first_line(usb / "idProduct") + ' ' + first_line(usb / "serial");
    auto& known = places[identity];
    if (std::find(known.begin(), known.end(), usb.filename().string()) == known.end())
      known.push_back(usb.filename().string());
  }
  Diagnoses out;
  for (const auto& [identity, where] : places) {
    if (where.size() < 2) continue;
    std::string all;
    for (const auto& one : where) all += (all.empty() ? "" : ", ") + one;
    out.push_back(
        {"port", Grade::warning, "same_serials",
         "USB adapters name themselves alike (" + identity + "), so their links of by-id change places", all,
         "name these ports by /dev/serial/by-path, and leave each adapter in its socket"});
  }
  return out;
}

}  // namespace tallystick::cli
