// Bringing an unknown gauge to its first valid reading: which port it is at, which dialect reads it, or a new
// dialect learned from what it sends. Listens only; nothing is ever sent to the gauge.
#pragma once

#include <string>
#include <vector>

#include "tools/cli/commands.hpp"

namespace tallystick::cli {

struct LearnOptions {
  std::string port;                    ///< path of the line, or the id of a port of the configuration
  std::string log;                     ///< a recording instead of a port
  std::string line;                    ///< "9600 7E1": listen with these settings alone
  std::string name = "learned-gauge";  ///< of the new dialect
  std::string to;                      ///< folder for what is written; empty: nothing is written
  std::string config;  ///< whose dialects are tried first; else /etc/tallystick where it is there
  std::vector<std::string> dialects;  ///< further folders of dialects
  double wait = 60;                   ///< seconds of silence after which it gives up
  bool json = false;                  ///< of a log
};
/// `status::good`: a dialect reads it (known, or written); `status::no`: something is missing, and is said;
/// `status::not_done`: the port could not be had ("port_busy" names the holder), or a file could not be
/// written. Never writes over a file. What was heard is kept beside the dialect; without a dialect as
/// NAME.heard.log.
int learn_gauge(const LearnOptions& options, Streams streams);

/// Names the port by unplugging or plugging in, or by its number in the list; then goes on as learn_gauge.
int find_gauge(const LearnOptions& options, Streams streams);

}  // namespace tallystick::cli
