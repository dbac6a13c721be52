// Proving a journal: that nothing in it was changed, taken out or added otherwise than by the daemon.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "daemon/record/place.hpp"
#include "daemon/record/reader.hpp"

namespace tallystick::record {

/// One thing that is not as it should be. Codes: "broken_chain", "missing_event", "branch_point", "schema",
/// "damaged_file", "foreign_key", "facts_differ", "finder_differs", "bad_outcome", "blob_differs", "blob_missing",
/// "ends_before_head".
struct Finding {
  std::string code;
  std::string where;  ///< key of an event or fact, name of a table, SHA-256 of a blob, ...
  std::string what;
  bool confirmed = false;  ///< a break that a person confirmed: a later branch's row names it
};

struct VerifyReport {
  std::vector<Finding> findings;  ///< the first thousand
  std::uint64_t finding_count = 0;
  Counts checked;  ///< what was gone through
  std::uint64_t bytes_hashed = 0;
  Key last;               ///< newest event of the current branch
  std::string last_hash;  ///< its hash, 64 hex digits
  bool marked = false;    ///< a copy made by `backup`
  bool stopped = false;   ///< `progress` ended it before its end

  bool sound() const { return finding_count == 0 && !stopped; }
};

struct VerifyOptions {
  std::optional<Key> since;         ///< only what follows this event (its own hash is believed)
  bool structure = true;            ///< damaged pages, foreign keys, tables and triggers as they were made
  bool tables = true;               ///< query tables against outcome.facts, blobs against their names
  std::filesystem::path head_file;  ///< compared with the end; empty: not
  std::uint64_t events_a_read = 20000;
  /// Called after each read with the events done and there at the beginning; false ends it. May sleep, so
  /// that the check runs in the background.
  std::function<bool(std::uint64_t done, std::uint64_t there)> progress;
};

/// Goes through the file in reads of `events_a_read` events, in flat memory. The writer may write meanwhile.
/// Errors: as Reader::open_file ("cannot_read", "not_a_journal", "newer_format", "older_format"),
/// "unknown_key".
Expected<VerifyReport> verify(const std::filesystem::path& journal, const VerifyOptions& options = {},
                              const std::string& vfs = {});

}  // namespace tallystick::record
