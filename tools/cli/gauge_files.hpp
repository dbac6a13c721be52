// What learning reads and writes on disk.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "drivers/learn/learn.hpp"
#include "tools/cli/gauge.hpp"

namespace tallystick::cli {

struct KnownDialects {
  std::vector<std::shared_ptr<const Dialect>> dialects;
  std::string port_path;  ///< of options.port
};
/// The dialects of the configuration and of the folders, and the port's path. A dialect with a fault is left
/// out, and `tallystick check` says why. Errors "cannot_read", "unknown_port".
Expected<KnownDialects> known_dialects(const LearnOptions& options);

/// A new file with these bytes. Error "cannot_write", where there is one already too.
Done write_new(const std::string& path, const std::string& bytes);
Expected<std::string> content_of(const std::string& path);

/// The lines that bring the gauge into a configuration, to paste.
std::string configuration_lines(const std::string& path, const std::string& dialect);
/// "2026-11-25", UTC.
std::string date_today();

}  // namespace tallystick::cli
