#include "drivers/ports/access.hpp"

#include <grp.h>
#include <pwd.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <climits>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

namespace tallystick::ports {
namespace {

namespace files = std::filesystem;

std::string user_name(uid_t id) {
  const passwd* entry = ::getpwuid(id);
  return entry ? entry->pw_name : std::to_string(id);
}

std::string group_name(gid_t id) {
  const group* entry = ::getgrgid(id);
  return entry ? entry->gr_name : std::to_string(id);
}

std::string our_groups() {
  std::vector<gid_t> ids(256);
  const int count = ::getgroups(static_cast<int>(ids.size()), ids.data());
  ids.resize(count > 0 ? static_cast<std::size_t>(count) : 0);
  if (std::find(ids.begin(), ids.end(), ::getegid()) == ids.end()) ids.insert(ids.begin(), ::getegid());
  std::string out;
  for (const gid_t id : ids) out += (out.empty() ? "" : ", ") + group_name(id);
  return out;
}

std::string program_of(pid_t pid) {
  std::ifstream file("/proc/" + std::to_string(pid) + "/comm");
  std::string out;
  std::getline(file, out);
  return out;
}

std::optional<pid_t> pid_from(const std::string& text) {
  if (text.empty() ||
      !std::all_of(text.begin(), text.end(), [](unsigned char c) { return std::isdigit(c) != 0; })) {
    return {};
  }
  const long pid = std::strtol(text.c_str(), nullptr, 10);
  return pid > 0 ? std::optional(static_cast<pid_t>(pid)) : std::nullopt;
}

/// Whoever has a lock on it: one file to read.
std::optional<pid_t> locker_of(const struct stat& about) {
  char wanted[64];
  std::snprintf(wanted, sizeof wanted, "%02x:%02x:%llu", major(about.st_dev), minor(about.st_dev),
                static_cast<unsigned long long>(about.st_ino));
  std::ifstream file("/proc/locks");
  for (std::string line; std::getline(file, line);) {
    std::istringstream words(line);
    std::string number, kind, mode, access, pid, inode;
    if (words >> number >> kind >> mode >> access >> pid >> inode && inode == wanted) {
      if (const auto found = pid_from(pid)) return found;
    }
  }
  return {};
}

/// Whoever has it open, among the processes that we may look into.
std::optional<pid_t> opener_of(const std::string& node) {
  std::error_code ignored;
  for (const auto& process : files::directory_iterator("/proc", ignored)) {
    const auto pid = pid_from(process.path().filename().string());
    if (!pid || *pid == ::getpid()) continue;
    std::error_code closed;
    for (files::directory_iterator entry(process.path() / "fd", closed), end; !closed && entry != end;
         entry.increment(closed)) {
      std::error_code gone;
      if (files::read_symlink(entry->path(), gone) == node && !gone) return pid;
    }
  }
  return {};
}

std::string link_in(const std::string& folder, const std::string& node) {
  std::vector<std::string> found;
  std::error_code bad;
  for (files::directory_iterator entry(folder, bad), end; !bad && entry != end; entry.increment(bad)) {
    std::error_code gone;
    if (files::canonical(entry->path(), gone) == node && !gone) found.push_back(entry->path().string());
  }
  return found.empty() ? std::string() : *std::min_element(found.begin(), found.end());
}

}  // namespace

std::optional<Holder> holder_of(const std::string& node) {
  struct stat about {};
  if (::stat(node.c_str(), &about) != 0) return {};
  auto pid = locker_of(about);
  if (!pid) pid = opener_of(node);
  if (!pid) return {};
  return Holder{*pid, program_of(*pid)};
}

Error busy(const std::string& path) {
  char resolved[PATH_MAX];
  const std::string node = ::realpath(path.c_str(), resolved) ? resolved : path;
  const auto holder = holder_of(node);
  if (!holder) {
    return {"port_busy", "another program holds it (which one may not be seen from here)", "port " + path,
            "close that program; `fuser " + node +
                "` as root names it. It is taken up by itself when it is free"};
  }
  if (holder->pid == ::getpid()) {
    return {"port_busy", "another port of this configuration already holds the same line, " + node,
            "port " + path, "name each line once"};
  }
  const std::string who = "process " + std::to_string(holder->pid) +
                          (holder->program.empty() ? std::string() : " (" + holder->program + ")");
  return {"port_busy", who + " holds it", "port " + path,
          "end that program. It is taken up by itself when it is free"};
}

Error denied(const std::string& path, const std::string& usual_group) {
  struct stat about {};
  std::string node_text = "its owner cannot be seen";
  std::string hint = "see that every folder on the way to it may be entered";
  if (::stat(path.c_str(), &about) == 0) {
    char mode[8];
    std::snprintf(mode, sizeof mode, "%04o", about.st_mode & 07777U);
    const std::string group = group_name(about.st_gid);
    node_text = "it belongs to " + user_name(about.st_uid) + ":" + group + " with mode " + mode;
    const bool group_may = (about.st_mode & (S_IRGRP | S_IWGRP)) == (S_IRGRP | S_IWGRP);
    hint = group_may ? "usermod -aG " + group + " " + user_name(::geteuid()) + ", then restart the daemon"
                     : "give it a group that may read and write (chgrp " + usual_group + " " + path +
                           "; chmod 0660 " + path + "), for good by a udev rule with GROUP=\"" +
                           usual_group + "\", MODE=\"0660\"";
  }
  return {"port_denied",
          "it may not be opened by user " + user_name(::geteuid()) + " in groups " + our_groups() + "; " +
              node_text,
          "port " + path, hint};
}

std::string suggested_key(const std::string& node, const std::string& by_id, const std::string& by_path) {
  std::error_code bad;
  const std::string real = files::canonical(node, bad).string();
  if (bad) return {};
  std::string key = link_in(by_id, real);
  return key.empty() ? link_in(by_path, real) : key;
}

bool is_plain_usb_node(const std::string& path) {
  for (const std::string_view begin : {"/dev/ttyUSB", "/dev/ttyACM"}) {
    if (path.starts_with(begin) && path.size() > begin.size() &&
        std::all_of(path.begin() + static_cast<std::ptrdiff_t>(begin.size()), path.end(),
                    [](unsigned char c) { return std::isdigit(c) != 0; })) {
      return true;
    }
  }
  return false;
}

}  // namespace tallystick::ports
