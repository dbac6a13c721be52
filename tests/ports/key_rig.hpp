// Input devices that a test plays: a pipe of the kernel's own `struct input_event`, and a tree as sysfs has
// it.
#pragma once

#include <fcntl.h>
#include <linux/input.h>

#include <cstring>
#include <map>

#include "drivers/ports/key_source.hpp"
#include "port_rig.hpp"

namespace tallystick::ports::test {

/// Reads what an input device's descriptor would give.
class PipeSource : public KeySource {
 public:
  PipeSource(int descriptor, std::string name) : descriptor_(descriptor) { node = std::move(name); }
  ~PipeSource() override { ::close(descriptor_); }
  int descriptor() const override { return descriptor_; }
  Expected<std::optional<decode::KeyEvent>> next() override {
    input_event event{};
    const ssize_t got = ::read(descriptor_, &event, sizeof event);
    if (got < 0 && errno == EAGAIN) return std::nullopt;
    if (got != static_cast<ssize_t>(sizeof event)) return fail("port_lost", "No such device");
    return decode::KeyEvent{event.type, event.code, event.value,
                            static_cast<std::int64_t>(event.input_event_sec) * 1'000'000'000 +
                                static_cast<std::int64_t>(event.input_event_usec) * 1000};
  }

 private:
  int descriptor_;
};

/// Devices by serial number. A device that is plugged in twice under one number is ambiguous, as two nodes
/// are.
class PlayedDevices : public KeyDevices {
 public:
  struct Device {
    FoundKeyboard about;
    int keys = -1;  ///< the end that the test writes; -1: nobody has it open
  };
  std::map<std::string, Device> plugged;  ///< by node
  int opened = 0;

  void plug(const std::string& node, const std::string& serial, int vendor = 0x1d6b, int product = 0x0104) {
    FoundKeyboard about{node,   "Played keyboard", serial, "usb-played-" + node + "/input0",
                        vendor, product,           {}};
    for (std::uint16_t code = 1; code < 120; ++code) about.keys.insert(code);
    plugged[node] = {about, -1};
  }
  void unplug(const std::string& node) {
    const auto found = plugged.find(node);
    REQUIRE(found != plugged.end());
    if (found->second.keys >= 0) ::close(found->second.keys);
    plugged.erase(found);
  }
  void type(const std::string& node, const std::vector<decode::KeyEvent>& events) {
    for (const auto& one : events) {
      input_event event{};
      event.input_event_sec = one.at_ns / 1'000'000'000;
      event.input_event_usec = one.at_ns % 1'000'000'000 / 1000;
      event.type = one.type;
      event.code = one.code;
      event.value = one.value;
      REQUIRE(::write(plugged.at(node).keys, &event, sizeof event) == static_cast<ssize_t>(sizeof event));
    }
  }

  Expected<std::unique_ptr<KeySource>> open(const KeyboardSettings& settings, bool types,
                                            const std::string& where) override {
    const auto meant = choose_keyboard(settings, types, all(), where);
    if (!meant) return tl::unexpected<Error>(meant.error());
    int ends[2];
    REQUIRE(::pipe2(ends, O_CLOEXEC | O_NONBLOCK) == 0);
    plugged.at(meant->node).keys = ends[1];
    ++opened;
    return std::make_unique<PipeSource>(ends[0], meant->node);
  }
  std::optional<Error> doubt(const KeyboardSettings& settings, bool types,
                             const std::string& where) override {
    auto meant = choose_keyboard(settings, types, all(), where);
    if (meant || meant.error().code != "port_ambiguous") return std::nullopt;
    return meant.error();
  }

 private:
  std::vector<FoundKeyboard> all() const {
    std::vector<FoundKeyboard> out;
    for (const auto& [node, device] : plugged) out.push_back(device.about);
    return out;
  }
};

/// What a keyboard's `capabilities/key` says of these keys.
inline std::string capability_words(const std::set<std::uint16_t>& keys) {
  std::string out;
  for (int word = 11; word >= 0; --word) {
    unsigned long bits = 0;
    for (const auto key : keys)
      if (key / 64 == word) bits |= 1UL << (key % 64);
    if (out.empty() && bits == 0) continue;
    char text[24];
    std::snprintf(text, sizeof text, "%s%lx", out.empty() ? "" : " ", bits);
    out += text;
  }
  return out;
}

}  // namespace tallystick::ports::test
