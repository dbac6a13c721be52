// Commands that read the record themselves, whether the daemon runs or not. See commands.hpp.
#pragma once

#include <map>
#include <string>

#include "daemon/record/place.hpp"
#include "tools/cli/commands.hpp"

namespace tallystick::cli {

/// Where the record lies: one of both.
struct RecordOptions {
  std::string data;    ///< the data folder
  std::string config;  ///< a tallystick.toml that names it
};

// record.cpp

/// Error "wrong_argument" where none or both are given; as load_configuration.
Expected<record::Place> place_of(const RecordOptions& options);

struct VerifyCommandOptions {
  RecordOptions record;
  std::string file;   ///< a journal or backup instead of the data folder
  std::string since;  ///< key of an event: only what follows it
  bool recompute = false;  ///< every result anew from its readings, too (daemon/record/recompute.hpp)
  bool json = false;
};
/// Proves the whole record (daemon/record/verify.hpp). `status::no` where anything was found.
int verify(const VerifyCommandOptions& options, Streams streams);

struct BackupOptions {
  RecordOptions record;
  std::string to;  ///< a new file, or a folder in which one is made and named by the time
  bool json = false;
};
/// One marked snapshot while the daemon may write; proven. `status::no` where the copy is made but not sound.
int backup(const BackupOptions& options, Streams streams);

struct RestoreOptions {
  RecordOptions record;  ///< the data folder to make
  std::string from;      ///< the backup
  std::string who, why;
  bool json = false;
};
/// A new data folder from a backup; the daemon begins a new branch in it.
int restore(const RestoreOptions& options, Streams streams);

struct ConfirmBreakOptions {
  RecordOptions record;
  std::string who, why;
  bool json = false;
};
/// Goes on in a new branch behind a break in the chain; the daemon must not run. `status::no` where there is none.
int confirm_break(const ConfirmBreakOptions& options, Streams streams);

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
