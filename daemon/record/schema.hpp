// The journal's tables, indexes and triggers, and the way from an older format to this one.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "daemon/record/sqlite.hpp"

namespace tallystick::record {

inline constexpr std::int64_t format_version =
    1;  ///< user_version of the file, and the newest row of `format`
inline constexpr std::int64_t application_mark = 0x54414c59;  ///< application_id: "TALY"
inline constexpr const char* release_text = "0.1.0";

struct SchemaObject {
  std::string type;  ///< "table", "index", "trigger"
  std::string name;
  std::string sql;  ///< exactly as sqlite_schema keeps it
};
/// Every object of this format, in the order of making.
const std::vector<SchemaObject>& schema();

/// One step forward, run in a transaction of its own together with its mark. It may add, never change what is
/// kept.
struct Migration {
  std::int64_t from;
  std::string sql;
};
std::span<const Migration> migrations();
/// Brings a journal of format `found` up to `to`. Error "no_migration", "cannot_migrate"; then nothing was
/// changed by the step that failed.
Done migrate(Connection& connection, std::int64_t found, std::int64_t to, std::span<const Migration> steps,
             std::int64_t utc_us);
/// Makes all objects in the open transaction; SQLite's result code.
int make_schema(Connection& connection, std::int64_t utc_us);

/// Settings of a writing connection: WAL, synchronous=FULL, recursive triggers, foreign keys, no automatic
/// checkpoint.
int prepare_for_writing(Connection& connection);
/// Settings of a reading connection.
int prepare_for_reading(Connection& connection);

enum class Found : std::uint8_t { absent, empty, journal };
/// What the file is, before a connection touches it: Errors "newer_format", "not_a_journal", "cannot_open".
/// Looks at the file's own bytes where the machine's file layer holds it.
Expected<Found> look_at(const std::filesystem::path& file, bool machines_files);
/// The same by a connection; `found` is its user_version.
Expected<Found> look_at(Connection& connection, std::int64_t& found);

/// A read-only connection to a journal of this format. Errors "cannot_read", "not_a_journal", "newer_format",
/// "older_format".
Expected<Connection> open_to_read(const std::filesystem::path& file, const std::string& vfs);

}  // namespace tallystick::record
