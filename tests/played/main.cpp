// The daemon with input devices that a test plays, where none can be made (no /dev/uinput): everything but
// the kernel's side of a keyboard is the real thing. TALLYSTICK_PLAYED names a folder; a device is a FIFO
// `NAME.keys` that carries the kernel's `struct input_event`, and `NAME.about` with vendor, product and
// serial number.
#include <fcntl.h>
#include <linux/input.h>
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iostream>

#include "daemon/house.hpp"
#include "drivers/ports/key_source.hpp"

namespace {

using namespace tallystick;
using namespace tallystick::ports;
namespace files = std::filesystem;

class FifoSource : public KeySource {
 public:
  FifoSource(int descriptor, std::string name) : descriptor_(descriptor) { node = std::move(name); }
  ~FifoSource() override { ::close(descriptor_); }
  int descriptor() const override { return descriptor_; }
  Expected<std::optional<decode::KeyEvent>> next() override {
    input_event event{};
    const ssize_t got = ::read(descriptor_, &event, sizeof event);
    if (got < 0 && errno == EAGAIN) return std::nullopt;
    if (got != static_cast<ssize_t>(sizeof event)) return fail("port_lost", std::strerror(ENODEV));
    return decode::KeyEvent{event.type, event.code, event.value,
                            static_cast<std::int64_t>(event.input_event_sec) * 1'000'000'000 +
                                static_cast<std::int64_t>(event.input_event_usec) * 1000};
  }

 private:
  int descriptor_;
};

class FifoDevices : public KeyDevices {
 public:
  explicit FifoDevices(files::path folder) : folder_(std::move(folder)) {}

  Expected<std::unique_ptr<KeySource>> open(const KeyboardSettings& settings, bool types,
                                            const std::string& where) override {
    const auto meant = choose_keyboard(settings, types, found(), where);
    if (!meant) return tl::unexpected<Error>(meant.error());
    const int descriptor = ::open(meant->node.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (descriptor < 0) return fail("port_failed", std::strerror(errno), where);
    return std::make_unique<FifoSource>(descriptor, meant->node);
  }
  std::optional<Error> doubt(const KeyboardSettings& settings, bool types,
                             const std::string& where) override {
    auto meant = choose_keyboard(settings, types, found(), where);
    if (meant || meant.error().code != "port_ambiguous") return std::nullopt;
    return meant.error();
  }
  std::vector<std::string> watched() const override { return {folder_.string() + "/"}; }

 private:
  std::vector<FoundKeyboard> found() const {
    std::vector<FoundKeyboard> out;
    std::error_code code;
    for (files::directory_iterator entry(folder_, code), end; !code && entry != end; entry.increment(code)) {
      if (entry->path().extension() != ".about") continue;
      FoundKeyboard one;
      one.node = files::path(entry->path()).replace_extension(".keys").string();
      std::ifstream about(entry->path());
      about >> std::hex >> one.vendor >> one.product >> one.serial;
      for (std::uint16_t key = 1; key < 249; ++key) one.keys.insert(key);
      if (files::exists(one.node)) out.push_back(std::move(one));
    }
    std::sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.node < b.node; });
    return out;
  }

  files::path folder_;
};

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"the daemon with input devices that a test plays"};
  HouseOptions options;
  std::string configuration;
  app.add_option("--config", configuration)->required();
  CLI11_PARSE(app, argc, argv);
  const char* devices = std::getenv("TALLYSTICK_PLAYED");
  if (devices == nullptr) {
    std::cerr << "TALLYSTICK_PLAYED names no folder\n";
    return 2;
  }
  spdlog::set_default_logger(spdlog::stderr_logger_mt("tallystickd"));
  options.configuration = configuration;
  options.version = "played";
  options.keyboards = std::make_shared<FifoDevices>(devices);
  auto house = House::open(options);
  if (!house) {
    std::cerr << text(house.error()) << '\n';
    return 1;
  }
  return (*house)->run();
}
