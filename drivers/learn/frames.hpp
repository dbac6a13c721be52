// From heard bytes to frames: as which line settings they can be read, and how the stream may be cut. Pure.
#pragma once

#include <string>
#include <vector>

#include "drivers/learn/heard.hpp"

namespace tallystick::learn {

/// The presses as they would have been heard with `line`: bytes that came at 8N1 are also what a line with 7
/// data bits and a parity bit sends, the parity lying in the highest bit.
struct View {
  PortSettings line;
  std::vector<Press> presses;
};

/// Every way to read the recording. A parity bit is only believed where every byte keeps to it.
std::vector<View> views_of(const Recording& recording);

/// How the presses of a view may be cut, and the frames that come of it.
struct Cut {
  CutBy by = CutBy::terminator;
  std::string start, end;
  std::size_t length = 0, after_end = 0;
  bool streams = false;
  bool several_lines = false;  ///< a press sends more frames than the one that carries the value
  /// A frame a press, without start and end but with what follows the end.
  std::vector<std::string> bodies;
  std::vector<std::string> tails;  ///< what follows the end, of `after_end` bytes
  /// The frame as a whole.
  std::string frame(std::size_t press) const { return start + bodies[press] + end + tails[press]; }
};

/// The likeliest first. Empty where a press brought nothing.
std::vector<Cut> cuts_of(const View& view);

/// The bytes that all begin with, or all end with.
std::string common_head(const std::vector<std::string>& texts);
std::string common_tail(const std::vector<std::string>& texts);

}  // namespace tallystick::learn
