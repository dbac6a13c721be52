// The first configuration: what a person chose on the setup page becomes the text of a tallystick.toml, and a
// file only where there is none.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "daemon/checklist/fault.hpp"
#include "daemon/measure/error.hpp"

namespace tallystick {

struct FirstPort {
  std::string id, path, dialect;
};
struct FirstSetup {
  std::string shop, bench, person;  ///< names as people say them; `person` may be empty
  std::vector<FirstPort> ports;
  std::string data;  ///< folder of the record
  std::vector<std::string> dialect_folders;
  int port = 7411;  ///< the daemon's
};

/// The lines, commented, each port with a gauge card to fill in. Pure.
std::string setup_text(const FirstSetup& setup);

/// Writes `text` to `file`: checked whole first, from a file beside it; the name appears at once with all
/// bytes synced, mode 0640, and never over another file. Blocking. Errors: "configured_already",
/// "cannot_write", and "wrong_shape" where the text has faults, which are put into `faults`.
Done write_first(const std::filesystem::path& file, const std::string& text,
                 std::vector<checklist::Fault>& faults);

}  // namespace tallystick
