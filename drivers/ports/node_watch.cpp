#include "drivers/ports/node_watch.hpp"

#include <sys/inotify.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <cerrno>
#include <cstring>
#include <filesystem>

namespace tallystick::ports {
namespace {

constexpr std::uint32_t news = IN_CREATE | IN_MOVED_TO | IN_MOVED_FROM | IN_DELETE | IN_ATTRIB;
constexpr std::uint32_t end_of_folder = IN_DELETE_SELF | IN_MOVE_SELF | IN_IGNORED;

struct Nearest {
  std::string folder, name;
};

/// The nearest existing folder on the way to `path`, and the next name on that way.
Nearest nearest(const std::string& path) {
  std::filesystem::path at = std::filesystem::path(path).lexically_normal();
  std::error_code bad;
  while (at.has_parent_path() && at.parent_path() != at) {
    const auto folder = at.parent_path();
    if (std::filesystem::is_directory(folder, bad)) return {folder.string(), at.filename().string()};
    at = folder;
  }
  return {};
}

bool is_meant(const std::set<std::string>& names, const std::string& name) {
  return std::any_of(names.begin(), names.end(), [&](const std::string& one) {
    return one.ends_with('*') ? name.starts_with(std::string_view(one).substr(0, one.size() - 1))
                              : one == name;
  });
}

}  // namespace

NodeWatch::NodeWatch(boost::asio::io_context& loop, std::function<void()> changed)
    : stream_(loop), changed_(std::move(changed)) {}

bool NodeWatch::start(std::vector<std::string> paths) {
  paths_ = std::move(paths);
  if (!stream_.is_open()) {
    const int descriptor = ::inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
    if (descriptor < 0) return false;
    boost::system::error_code error;
    stream_.assign(descriptor, error);
    if (error) {
      ::close(descriptor);
      return false;
    }
    wait();
  }
  aim();
  return true;
}

void NodeWatch::stop() {
  changed_ = nullptr;
  boost::system::error_code ignored;
  stream_.close(ignored);
}

void NodeWatch::aim() {
  // Twice, because a folder may appear between looking and watching.
  for (int round = 0; round < 2; ++round) {
    std::map<std::string, std::set<std::string>> wanted;
    for (const auto& path : paths_) {
      auto [folder, name] = nearest(path);
      if (!folder.empty()) wanted[folder].insert(name);
    }
    for (auto old = folders_.begin(); old != folders_.end();) {
      if (wanted.contains(old->first)) {
        ++old;
        continue;
      }
      ::inotify_rm_watch(stream_.native_handle(), old->second);
      names_.erase(old->second);
      old = folders_.erase(old);
    }
    for (auto& [folder, names] : wanted) {
      const int watch = ::inotify_add_watch(stream_.native_handle(), folder.c_str(),
                                            news | IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR);
      if (watch < 0) continue;
      folders_[folder] = watch;
      names_[watch] = names;
    }
  }
}

void NodeWatch::wait() {
  stream_.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                     [self = shared_from_this()](boost::system::error_code error) {
                       if (error || !self->changed_) return;
                       if (self->drain()) {
                         self->aim();
                         const auto changed = self->changed_;  // it may stop us
                         changed();
                       }
                       if (self->stream_.is_open()) self->wait();
                     });
}

/// True if anything concerns one of our paths.
bool NodeWatch::drain() {
  alignas(inotify_event) std::array<char, 8192> buffer;
  bool concerns = false;
  for (;;) {
    const ssize_t got = ::read(stream_.native_handle(), buffer.data(), buffer.size());
    if (got <= 0) return concerns;
    for (std::size_t at = 0; at + sizeof(inotify_event) <= static_cast<std::size_t>(got);) {
      inotify_event event{};
      std::memcpy(&event, buffer.data() + at, sizeof event);
      const std::string name = event.len > 0 ? buffer.data() + at + sizeof event : "";
      at += sizeof event + event.len;
      if ((event.mask & IN_IGNORED) != 0) {
        names_.erase(event.wd);
        std::erase_if(folders_, [&](const auto& one) { return one.second == event.wd; });
      }
      const auto known = names_.find(event.wd);
      concerns = concerns || (event.mask & (end_of_folder | IN_Q_OVERFLOW)) != 0 ||
                 (known != names_.end() && (is_meant(known->second, name) || known->second.contains("")));
    }
  }
}

}  // namespace tallystick::ports
