// What a capture hands to the rules at its end, and what they keep of it.
#pragma once

#include <string>

#include "drivers/decode/capture_bytes.hpp"

namespace tallystick::walk {

/// A capture in the journal: its head, and the name of its bytes (capture_bytes.hpp) in the record.
struct CaptureNamed {
  std::string sha256;
  CaptureHead head;
  bool operator==(const CaptureNamed&) const = default;
};
BOOST_DESCRIBE_STRUCT(CaptureNamed, (), (sha256, head))

struct Captured {
  CaptureNamed named;
  std::string bytes;
};

}  // namespace tallystick::walk
