// What stands inside the frames: the parts that a dialect names, found by holding the frames against what the
// display showed. Pure.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "drivers/learn/heard.hpp"

namespace tallystick::learn {

/// Something that is missing, or that was assumed without being seen. `code` is for programs and
/// translations: see `remark_text`.
struct Remark {
  std::string code;
  std::string detail;  ///< e.g. the bytes in question; may be empty
  bool operator==(const Remark&) const = default;
};

/// One English sentence that says what is missing and what to do.
std::string remark_text(const Remark& remark);

/// The inside of the frames, ready to be written as a dialect.
struct Shape {
  std::string pattern;              ///< of a text body; empty where `binary` is set
  std::vector<std::string> binary;  ///< lines of [binary]
  char mark = '.';
  bool exponent = false;
  int implied_decimals = 0;
  std::map<std::string, int> decimals_by_unit;
  std::optional<std::string> unit;  ///< the dialect's own; empty where the frame carries it
  std::map<std::string, std::string> unit_map, status_map;
  std::vector<Remark> unseen;         ///< assumed without being seen
  std::vector<std::string> comments;  ///< about parts that are not taken
};

struct ShapeSearch {
  std::vector<Shape> shapes;    ///< the likeliest first
  std::vector<Remark> missing;  ///< why there is none
};

/// Text bodies, one a press, without their check. Presses whose display showed no number only help with the
/// status.
ShapeSearch find_text_shapes(const std::vector<std::string>& bodies, const std::vector<Press>& presses);
/// The same for bodies that are no text.
ShapeSearch find_binary_shapes(const std::vector<std::string>& bodies, const std::vector<Press>& presses);

}  // namespace tallystick::learn
