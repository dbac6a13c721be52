// The replay logs and dialects of the tree, read once.
#pragma once

#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "drivers/decode/replay_log.hpp"

namespace tallystick::replay_tests {

struct Case {
  std::filesystem::path path;  ///< of the .log
  ReplayLog log;
  std::string name() const { return log.dialect + "/" + path.stem().string(); }
};

std::string content_of(const std::filesystem::path& path);
/// Every dialect of config/dialects by its name. A fault in one ends the test program with its text.
const std::map<std::string, std::shared_ptr<const Dialect>>& dialects();
/// Every tests/replay/<dialect>/<case>.log, in order of path.
const std::vector<Case>& cases();

/// All events as JSON Lines.
std::string lines(const std::vector<DecodeEvent>& events);
/// The readings alone, without their offsets.
std::vector<std::string> readings(const std::vector<DecodeEvent>& events);
/// Channel, value, unit and status of one.
std::string said(const Decoded& decoded);

}  // namespace tallystick::replay_tests
