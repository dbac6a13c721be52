// Pseudo-terminals, a sink that remembers, and a loop to run: what the tests of the ports room stand on.
#pragma once

#include <doctest/doctest.h>
#include <fcntl.h>
#include <pty.h>
#include <spdlog/logger.h>
#include <spdlog/sinks/ostream_sink.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <filesystem>
#include <functional>
#include <memory>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/decode/dialect.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/port_set.hpp"

namespace tallystick::ports::test {

inline std::shared_ptr<const Dialect> dialect(std::string_view toml) {
  auto read = read_dialect(toml, "test.dialect.toml");
  if (!read) {
    for (const auto& fault : read.error()) MESSAGE(text(fault));
  }
  REQUIRE(read.has_value());
  return std::make_shared<const Dialect>(std::move(*read));
}

inline const std::string pushed_line = R"(name = "pushed-line"
[port]
baud = 9600
[frame]
cut_by = "terminator"
terminator = "\r"
longest = 32
[value]
pattern = '''(?P<sign>[+-])(?P<value>\d{3}\.\d{3})'''
[unit]
unit = "mm"
[talk]
speaks = "pushed"
)";

/// A pair of ends; the slave end is closed, the driver opens it by `path()`.
class Pty {
 public:
  Pty() {
    int slave = -1;
    char name[128];
    REQUIRE(::openpty(&master_, &slave, name, nullptr, nullptr) == 0);
    path_ = name;
    ::close(slave);
  }
  ~Pty() { hang_up(); }
  Pty(Pty&& other) noexcept : master_(std::exchange(other.master_, -1)), path_(std::move(other.path_)) {}
  Pty(const Pty&) = delete;

  const std::string& path() const { return path_; }
  int master() const { return master_; }
  void send(std::string_view bytes) {
    REQUIRE(::write(master_, bytes.data(), bytes.size()) == static_cast<ssize_t>(bytes.size()));
  }
  /// What the driver wrote; never blocks.
  std::string sent_to_gauge() {
    ::fcntl(master_, F_SETFL, O_NONBLOCK);
    char buffer[256];
    const ssize_t got = ::read(master_, buffer, sizeof buffer);
    return got > 0 ? std::string(buffer, static_cast<std::size_t>(got)) : std::string();
  }
  void hang_up() {
    if (master_ >= 0) ::close(master_);
    master_ = -1;
  }

 private:
  int master_ = -1;
  std::string path_;
};

class Folder {
 public:
  Folder() {
    std::string name = (std::filesystem::temp_directory_path() / "tallystick-ports-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path_ = name;
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  std::string operator/(std::string_view name) const { return path_ + "/" + std::string(name); }
  /// Points `name` at `target`, in one step as udev does.
  std::string link(std::string_view name, const std::string& target) const {
    const std::string fresh = *this / ".new";
    std::filesystem::create_symlink(target, fresh);
    std::filesystem::rename(fresh, *this / name);
    return *this / name;
  }

 private:
  std::string path_;
};

struct Remembered : GaugeSink {
  std::vector<Reading> readings;
  std::vector<std::pair<std::string, Refusal>> refusals;
  std::vector<PortStatus> changes;
  std::vector<UnknownChannel> unknown;
  std::vector<Error> unanswered;
  std::vector<KeyActed> deeds;

  void reading(Reading reading) override { readings.push_back(std::move(reading)); }
  void refusal(const std::string&, const std::string& gauge, const Refusal& refusal, const Frame&) override {
    refusals.emplace_back(gauge, refusal);
  }
  void port_changed(const PortStatus& status) override { changes.push_back(status); }
  void unknown_channel(const UnknownChannel& channel) override { unknown.push_back(channel); }
  void not_answered(const std::string&, const std::string&, const Error& why) override {
    unanswered.push_back(why);
  }
  void acted(const KeyActed& deed) override { deeds.push_back(deed); }

  std::size_t count(std::string_view gauge) const {
    std::size_t out = 0;
    for (const auto& one : readings) {
      if (one.gauge == gauge) ++out;
    }
    return out;
  }
};

struct Rig {
  boost::asio::io_context loop;
  Remembered sink;
  SystemClock clock{{ClockPolicy::own, 50'000, 600'000'000'000, 1'000'000}, 0};
  std::ostringstream lines;
  std::shared_ptr<spdlog::logger> log =
      std::make_shared<spdlog::logger>("test", std::make_shared<spdlog::sinks::ostream_sink_mt>(lines));
  PortSet ports;

  explicit Rig(std::shared_ptr<KeyDevices> keyboards = {})
      : ports(Surroundings{loop, sink, clock, log, [] { return 0.5; }, 32, std::move(keyboards)}) {}
  ~Rig() {
    ports.stop();
    loop.poll();
  }
  void run_for(std::chrono::milliseconds time) {
    loop.restart();
    loop.run_for(time);
  }
  bool run_until(const std::function<bool()>& done,
                 std::chrono::milliseconds patience = std::chrono::seconds(5)) {
    const auto end = std::chrono::steady_clock::now() + patience;
    while (!done()) {
      if (std::chrono::steady_clock::now() > end) return false;
      loop.restart();
      loop.run_one_for(std::chrono::milliseconds(5));
    }
    return true;
  }
  PortState state(std::string_view port) const {
    for (const auto& one : ports.status()) {
      if (one.port == port) return one.state;
    }
    return PortState::absent;
  }
  PortStatus status(std::string_view port) const {
    for (auto& one : ports.status()) {
      if (one.port == port) return one;
    }
    return {};
  }
  bool run_until_state(std::string_view port, PortState wanted) {
    return run_until([&] { return state(port) == wanted; });
  }
  void run_past_opening_gap() {
    run_for(std::chrono::milliseconds(30));
  }  // 3.5 characters at 9600 baud are 3.6 ms
};

inline PortConfig port(std::string name, std::string path, std::shared_ptr<const Dialect> how,
                       std::vector<GaugeConfig> gauges) {
  return PortConfig{std::move(name), std::move(path), std::move(how), std::move(gauges), "serial"};
}

inline std::size_t open_descriptors() {
  std::size_t count = 0;
  for ([[maybe_unused]] const auto& one : std::filesystem::directory_iterator("/proc/self/fd")) ++count;
  return count;
}

inline std::size_t occurrences(const std::string& text, std::string_view what) {
  std::size_t count = 0;
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++count;
  return count;
}

}  // namespace tallystick::ports::test
