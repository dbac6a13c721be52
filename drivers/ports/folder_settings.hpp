// What the configuration says of a port whose driver is "folder".
#pragma once

#include <chrono>
#include <string>

#include "drivers/decode/text_encoding.hpp"

namespace tallystick::ports {

struct FolderSettings {
  std::string files = "*";  ///< names, as the shell writes patterns: * ? [a-z]
  bool whole = false;       ///< each file is one measurement, else each line
  TextEncoding encoding = TextEncoding::utf8;  ///< where the file has no byte order mark
  /// Whole: a file that has not changed for so long is written. Lines: a last line without its end counts
  /// after so long; 0: never, it waits for its end.
  std::chrono::milliseconds settle{0};
  bool same_again = false;  ///< whole: the same content with a newer time is another measurement
  /// How often it is looked at where nothing tells of changes (a network share, no inotify).
  std::chrono::milliseconds look_every{2000};
  bool operator==(const FolderSettings&) const = default;
};

}  // namespace tallystick::ports
