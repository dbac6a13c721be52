// A .tar in memory: the plain form of POSIX.1-1988 (ustar), for a handful of small texts.
#pragma once

#include <cstdint>
#include <string>

#include "daemon/measure/error.hpp"

namespace tallystick::cli {

class Tar {
 public:
  /// `name`: at most 99 letters. `seconds`: UTC, of the file.
  void add(const std::string& name, const std::string& bytes, std::int64_t seconds);
  /// With the two empty blocks at its end.
  std::string end() &&;

 private:
  std::string out_;
};

}  // namespace tallystick::cli
