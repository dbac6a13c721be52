// Reading the configuration anew beside a running house: whole, or not at all.
#pragma once

#include <string>
#include <vector>

#include "daemon/record/configuration_files.hpp"
#include "daemon/serve/http.hpp"
#include "drivers/ports/port_set.hpp"

namespace tallystick {

/// What a reload would put in place of what runs, or why it may not.
struct Reload {
  record::Configuration configuration;
  std::vector<ports::PortConfig> ports;  ///< those that did not change share their dialect with `running`, so
                                         ///< that PortSet::reload leaves them alone
  std::vector<checklist::Fault> faults;  ///< that refuse it; empty: it may be taken
  std::vector<std::string> changed;      ///< "port bore-gauge: opened anew", for people
};

/// Blocking: reads files. Any thread; `old` and `running` must not change meanwhile. A configuration is
/// refused for any fault (not for warnings), and where it changes what only a new start can: address, port,
/// data folder, clock.
Reload read_anew(const record::Configuration& old, const std::vector<ports::PortConfig>& running);

/// One line for people and logs.
std::string summary(const Reload& reload);

/// A reload that cannot even begin: "stopping", "safe_start".
Reload refusal(std::string code, std::string what);

/// What `POST /api/v1/reload` answers (API.md).
serve::Answer answer_of(const Reload& reload, const std::string& target);

}  // namespace tallystick
