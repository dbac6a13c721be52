// Tells when something happens on the way to a port's node, so that a gauge that is plugged in again is back
// at once and not at the next try. Without it (no inotify) ports still come back by their back-off.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <boost/asio/posix/stream_descriptor.hpp>

namespace tallystick::ports {

/// Watches, for each path, the nearest folder that exists. A path that ends with "/" is a folder all of
/// whose names matter, one that ends in * stands for all names that begin so. One thread. Lives in a shared_ptr.
class NodeWatch : public std::enable_shared_from_this<NodeWatch> {
 public:
  NodeWatch(boost::asio::io_context& loop, std::function<void()> changed);

  /// False where inotify cannot be had.
  bool start(std::vector<std::string> paths);
  void stop();

 private:
  void aim();
  void wait();
  bool drain();

  boost::asio::posix::stream_descriptor stream_;
  std::function<void()> changed_;
  std::vector<std::string> paths_;
  std::map<std::string, int> folders_;          ///< folder -> watch
  std::map<int, std::set<std::string>> names_;  ///< watch -> names in it that matter; "": all
};

}  // namespace tallystick::ports
