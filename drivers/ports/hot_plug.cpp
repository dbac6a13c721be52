#include "drivers/ports/hot_plug.hpp"

#include <libudev.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>

namespace tallystick::ports {
namespace {

/// udevd's control socket: as libudev's own programs tell whether it runs.
constexpr const char* udev_runs = "/run/udev/control";

}  // namespace

void HotPlug::Close::operator()(udev_monitor* monitor) const { ::udev_monitor_unref(monitor); }

HotPlug::HotPlug(boost::asio::io_context& loop, std::function<void()> changed)
    : stream_(loop), changed_(std::move(changed)) {}

bool HotPlug::start() {
  if (monitor_) return true;
  if (::access(udev_runs, F_OK) != 0) return false;
  udev* context = ::udev_new();
  if (!context) return false;
  monitor_.reset(::udev_monitor_new_from_netlink(context, "udev"));
  ::udev_unref(context);  // the monitor holds its own
  if (!monitor_ || ::udev_monitor_filter_add_match_subsystem_devtype(monitor_.get(), "tty", nullptr) < 0 ||
      ::udev_monitor_filter_add_match_subsystem_devtype(monitor_.get(), "input", nullptr) < 0 ||
      ::udev_monitor_enable_receiving(monitor_.get()) < 0) {
    monitor_.reset();
    return false;
  }
  boost::system::error_code error;
  stream_.assign(::udev_monitor_get_fd(monitor_.get()), error);
  if (error) {
    monitor_.reset();
    return false;
  }
  wait();
  return true;
}

void HotPlug::stop() {
  changed_ = nullptr;
  if (stream_.is_open()) stream_.release();
  monitor_.reset();
}

void HotPlug::wait() {
  stream_.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                     [self = shared_from_this()](boost::system::error_code error) {
                       if (error || !self->changed_) return;
                       if (self->drain()) {
                         const auto changed = self->changed_;  // it may stop us
                         changed();
                       }
                       if (self->stream_.is_open()) self->wait();
                     });
}

bool HotPlug::drain() {
  bool any = false;
  while (udev_device* device = ::udev_monitor_receive_device(monitor_.get())) {
    any = true;
    ::udev_device_unref(device);
  }
  return any;
}

}  // namespace tallystick::ports
