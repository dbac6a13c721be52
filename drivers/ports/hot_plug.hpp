// Tells when udev has finished with a serial line or an input device that came or went: its links and its
// permissions are settled then. Where no udev runs (a container) there is nothing to hear, and NodeWatch
// looks at /dev itself.
#pragma once

#include <boost/asio/posix/stream_descriptor.hpp>
#include <functional>
#include <memory>

struct udev_monitor;

namespace tallystick::ports {

/// One thread. Lives in a shared_ptr.
class HotPlug : public std::enable_shared_from_this<HotPlug> {
 public:
  HotPlug(boost::asio::io_context& loop, std::function<void()> changed);

  /// False where no udev runs, or its messages cannot be had.
  bool start();
  void stop();

 private:
  struct Close {
    void operator()(udev_monitor* monitor) const;
  };
  void wait();
  bool drain();

  std::unique_ptr<udev_monitor, Close> monitor_;
  boost::asio::posix::stream_descriptor stream_;  ///< of the monitor, which owns it
  std::function<void()> changed_;
};

}  // namespace tallystick::ports
