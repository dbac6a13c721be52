// `tallystick bundle`: what support needs to help from afar, in one file. It holds no reading, no value of a
// part, no name of a person and no secret; who sends it can read it first: it is plain text in a .tar.
#pragma once

#include "tools/cli/client_commands.hpp"

namespace tallystick::cli {

struct BundleOptions {
  DaemonOptions daemon;  ///< `config` names the configuration too
  std::string to;        ///< a new file, or a folder in which one is made and named by the time
  std::string log;       ///< empty: the system's journal of the service
  bool json = false;
};
/// Made also where no daemon runs and the configuration has faults: what could not be had is said in
/// about.json. `status::not_done` where the configuration cannot be read at all or the file cannot be made.
int bundle(const BundleOptions& options, Streams streams);

}  // namespace tallystick::cli
