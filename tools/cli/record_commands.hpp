// Commands that read the record themselves, whether the daemon runs or not. See commands.hpp.
#pragma once

#include <map>
#include <string>

#include "tools/cli/commands.hpp"

namespace tallystick::cli {

/// Where the record lies: one of both.
struct RecordOptions {
  std::string data;    ///< the data folder
  std::string config;  ///< a tallystick.toml that names it
};

// export.cpp

struct ExportOptions {
  RecordOptions record;
  std::string format = "csv";                     ///< "csv" | "jsonl"
  std::map<std::string, std::string> parameters;  ///< those of EXPORT.md, as given
  std::string output;       ///< empty: standard output; else replaced as a whole at the end
  std::string cursor_file;  ///< holds the cursor: read where it is there and --after is not given, replaced
                            ///< at the end
  bool json = false;        ///< errors as JSON too
};
/// Facts to `out` or a file; "cursor: ..." on `err` unless a cursor file is named. The cursor is given only
/// after all that it stands for is written (a file: synced). `status::not_done` where the record cannot be
/// read, or the cursor points past a branch point: the hint then says how to go on.
int export_facts(const ExportOptions& options, Streams streams);

struct SuspectsOptions {
  RecordOptions record;
  std::string lot;  ///< key or name; empty: all
  bool json = false;
};
/// Results whose gauge or master later failed and that nothing has cleared. `status::no` where there is any.
int suspects(const SuspectsOptions& options, Streams streams);

}  // namespace tallystick::cli
