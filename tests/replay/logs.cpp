#include "tests/replay/logs.hpp"

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <iterator>

namespace tallystick::replay_tests {

namespace {

namespace fs = std::filesystem;

[[noreturn]] void give_up(const Faults& faults) {
  for (const auto& fault : faults) std::cerr << text(fault) << '\n';
  std::exit(1);
}

}  // namespace

std::string content_of(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

const std::map<std::string, std::shared_ptr<const Dialect>>& dialects() {
  static const auto all = [] {
    std::map<std::string, std::shared_ptr<const Dialect>> out;
    for (const auto& entry : fs::directory_iterator(fs::path(TALLYSTICK_SOURCE_DIR) / "config/dialects")) {
      if (!entry.path().filename().string().ends_with(".dialect.toml")) continue;
      auto dialect = read_dialect(content_of(entry.path()), entry.path().string());
      if (!dialect) give_up(dialect.error());
      const std::string name = dialect->name;
      out.emplace(name, std::make_shared<const Dialect>(*std::move(dialect)));
    }
    return out;
  }();
  return all;
}

const std::vector<Case>& cases() {
  static const auto all = [] {
    std::vector<Case> out;
    for (const auto& entry :
         fs::recursive_directory_iterator(fs::path(TALLYSTICK_SOURCE_DIR) / "tests/replay")) {
      if (entry.path().extension() != ".log") continue;
      auto log = read_replay_log(content_of(entry.path()), entry.path().string());
      if (!log) give_up(log.error());
      out.push_back({entry.path(), *std::move(log)});
    }
    std::sort(out.begin(), out.end(), [](const Case& a, const Case& b) { return a.path < b.path; });
    return out;
  }();
  return all;
}

std::string lines(const std::vector<DecodeEvent>& events) {
  std::string out;
  for (const auto& event : events) out += json_line(event) + "\n";
  return out;
}

std::string said(const Decoded& decoded) {
  return decoded.channel.value_or("-") + " " + decoded.value_text + " " +
         std::string(decoded.quantity.unit().name()) + " " + std::string(name(decoded.status));
}

std::vector<std::string> readings(const std::vector<DecodeEvent>& events) {
  std::vector<std::string> out;
  for (const auto& event : events) {
    if (event.decoded() != nullptr) out.push_back(said(*event.decoded()));
  }
  return out;
}

}  // namespace tallystick::replay_tests
