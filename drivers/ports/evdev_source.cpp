// Input devices of Linux through libevdev.
#include <fcntl.h>
#include <libevdev/libevdev.h>
#include <linux/input.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <ctime>

#include "drivers/decode/key_names.hpp"
#include "drivers/ports/access.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/key_source.hpp"

namespace tallystick::ports {
namespace {

/// What is older than this when it is read was not stamped by the clock that we asked for.
constexpr std::int64_t oldest_ns = 60'000'000'000;

std::string text_or_empty(const char* text) { return text == nullptr ? std::string() : std::string(text); }

class EvdevSource : public KeySource {
 public:
  /// Takes the descriptor over.
  explicit EvdevSource(int descriptor) : descriptor_(descriptor) {}
  ~EvdevSource() override {
    libevdev_free(device_);
    ::close(descriptor_);  // lets the grab go too
  }
  EvdevSource(const EvdevSource&) = delete;
  EvdevSource& operator=(const EvdevSource&) = delete;

  int descriptor() const override { return descriptor_; }
  Expected<std::optional<decode::KeyEvent>> next() override;
  Done take(const FoundKeyboard& meant, const std::string& where);

 private:
  bool is(const FoundKeyboard& meant) const;
  decode::KeyEvent event_of(const input_event& event) const;

  int descriptor_;
  libevdev* device_ = nullptr;
  bool own_clock_ = false;  ///< events carry our steady clock's time
  bool catching_up_ = false;
};

/// Between looking and opening another device may have got the number.
bool EvdevSource::is(const FoundKeyboard& meant) const {
  return libevdev_get_id_vendor(device_) == meant.vendor &&
         libevdev_get_id_product(device_) == meant.product &&
         text_or_empty(libevdev_get_uniq(device_)) == meant.serial &&
         text_or_empty(libevdev_get_phys(device_)) == meant.socket;
}

Done EvdevSource::take(const FoundKeyboard& meant, const std::string& where) {
  if (const int bad = libevdev_new_from_fd(descriptor_, &device_); bad != 0)
    return fail("port_failed", meant.node + " is no input device that can be read: " + std::strerror(-bad),
                where, "look at what it is: " + described(meant));
  if (!is(meant))
    return fail("port_absent", meant.node + " is another device now", where, "it is looked for again");
  for (unsigned code = 0; code <= KEY_MAX; ++code)
    if (libevdev_get_event_value(device_, EV_KEY, code) != 0)
      return fail("keys_held",
                  "key " + decode::key_name(static_cast<std::uint16_t>(code)) + " of " + described(meant) +
                      " is held down",
                  where, "let it go; the device is taken up by itself then");
  if (const int bad = libevdev_grab(device_, LIBEVDEV_GRAB); bad != 0) {
    if (bad != -EBUSY)
      return fail("port_failed", meant.node + " cannot be grabbed: " + std::strerror(-bad), where,
                  "see that the device is still plugged in");
    Error error = busy(meant.node);
    error.what =
        "another program has grabbed " + described(meant) + "; of those that have it open: " + error.what;
    error.where = where;
    return tl::unexpected<Error>(std::move(error));
  }
  own_clock_ = libevdev_set_clock_id(device_, CLOCK_BOOTTIME) == 0;
  node = meant.node;
  return {};
}

decode::KeyEvent EvdevSource::event_of(const input_event& event) const {
  const std::int64_t now = steady_now_ns();
  std::int64_t at = static_cast<std::int64_t>(event.input_event_sec) * 1'000'000'000 +
                    static_cast<std::int64_t>(event.input_event_usec) * 1000;
  // What waited while the clock was changed over still has the other clock's time.
  if (!own_clock_ || at > now || now - at > oldest_ns) at = now;
  return {event.type, event.code, event.value, at};
}

Expected<std::optional<decode::KeyEvent>> EvdevSource::next() {
  for (;;) {
    input_event event{};
    const unsigned flag = catching_up_ ? LIBEVDEV_READ_FLAG_SYNC : LIBEVDEV_READ_FLAG_NORMAL;
    const int got = libevdev_next_event(device_, flag, &event);
    if (got == LIBEVDEV_READ_STATUS_SYNC) {
      // In normal mode this is the report that events were dropped, in the other the changes since.
      catching_up_ = true;
      return event_of(event);
    }
    if (got == LIBEVDEV_READ_STATUS_SUCCESS) return event_of(event);
    if (got == -EAGAIN && catching_up_) {
      catching_up_ = false;
      continue;
    }
    if (got == -EAGAIN || got == -EINTR) return std::nullopt;
    return fail("port_lost", std::strerror(-got));
  }
}

Error cannot_open(int code, const FoundKeyboard& meant, const std::string& where) {
  if (code == EACCES || code == EPERM) {
    Error error = denied(meant.node, "input");
    error.where = where;
    return error;
  }
  if (code == ENOENT || code == ENODEV || code == ENXIO)
    return {"port_absent", meant.node + " is not there any more", where, "it is looked for again"};
  return {"port_failed", "opening " + meant.node + " failed: " + std::strerror(code), where,
          "see that the device is still plugged in"};
}

class EvdevDevices : public KeyDevices {
 public:
  Expected<std::unique_ptr<KeySource>> open(const KeyboardSettings& settings, bool types,
                                            const std::string& where) override {
    const auto meant = choose_keyboard(settings, types, find_keyboards(), where);
    if (!meant) return tl::unexpected<Error>(meant.error());
    const int descriptor = ::open(meant->node.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (descriptor < 0) return tl::unexpected<Error>(cannot_open(errno, *meant, where));
    libevdev_set_log_priority(LIBEVDEV_LOG_ERROR);
    auto source = std::make_unique<EvdevSource>(descriptor);
    if (auto done = source->take(*meant, where); !done) return tl::unexpected<Error>(done.error());
    return source;
  }

  std::optional<Error> doubt(const KeyboardSettings& settings, bool types,
                             const std::string& where) override {
    auto meant = choose_keyboard(settings, types, find_keyboards(), where);
    if (meant || meant.error().code != "port_ambiguous") return std::nullopt;
    return std::move(meant.error());
  }
};

}  // namespace

std::shared_ptr<KeyDevices> evdev_devices() { return std::make_shared<EvdevDevices>(); }

}  // namespace tallystick::ports
