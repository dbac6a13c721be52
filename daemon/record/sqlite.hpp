// The thin layer over SQLite that this room uses: result codes as values, and what they mean to the record.
// SQLiteCpp opens, closes and backs up; statements are driven directly, since their codes decide what is done
// next and their bytes are handed on without a copy.
#pragma once

#include <SQLiteCpp/Database.h>
#include <sqlite3.h>

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/measure/error.hpp"

namespace tallystick::record {

/// What a failed call means to the record (record.md, "Failed commits").
enum class Meaning : std::uint8_t {
  fine,
  ours,       ///< constraint, or a fault of ours: the event that caused it is set aside
  locked,     ///< another process holds the file: nothing was written, try again
  full,       ///< no space: nothing was written, try again
  read_only,  ///< may not write: nothing was written, try again
  disk,       ///< I/O error or damage: not known what was written, open anew and compare
};
Meaning meaning_of(int code);

/// One connection; not thread-safe.
class Connection {
 public:
  enum class Mode : std::uint8_t { read_only, read_write, create };
  /// Error "cannot_open", "not_a_journal" where the file is no database.
  static Expected<Connection> open(const std::filesystem::path& file, Mode mode, const std::string& vfs);

  sqlite3* handle() const { return database_->getHandle(); }
  SQLite::Database& database() { return *database_; }
  /// Runs statements without results; extended result code.
  int run(const char* sql) noexcept;
  int run(const std::string& sql) noexcept { return run(sql.c_str()); }
  /// First column of the first row; 0 / "" where there is none or the call failed (`code` says).
  std::int64_t integer(const std::string& sql, int* code = nullptr);
  std::string text(const std::string& sql, int* code = nullptr);
  /// The last failure on this connection.
  Error fault(std::string code) const;

 private:
  std::unique_ptr<SQLite::Database> database_;
  std::string file_;
};

/// A prepared statement. Bound bytes are not copied: they must live until the next reset. Columns are
/// numbered from 0, parameters from 1; text and blobs of a row are valid until the next step.
class Statement {
 public:
  Statement() = default;
  Statement(const Connection& connection, std::string_view sql);
  bool ready() const { return statement_ != nullptr; }
  int code() const { return code_; }  ///< of preparing

  void bind(int index, std::int64_t value) { sqlite3_bind_int64(statement_.get(), index, value); }
  void bind(int index, std::uint64_t value) { bind(index, static_cast<std::int64_t>(value)); }
  void bind_text(int index, std::string_view value);
  void bind_blob(int index, std::string_view value);
  void bind_null(int index) { sqlite3_bind_null(statement_.get(), index); }
  /// NULL for empty: "there is none".
  void bind_text_or_null(int index, std::string_view value);

  int step() { return sqlite3_step(statement_.get()); }
  bool row() { return step() == SQLITE_ROW; }
  void reset() { sqlite3_reset(statement_.get()); }

  int type(int column) const { return sqlite3_column_type(statement_.get(), column); }
  std::int64_t integer(int column) const { return sqlite3_column_int64(statement_.get(), column); }
  std::string_view text(int column) const;
  std::string_view blob(int column) const;
  sqlite3_stmt* handle() const { return statement_.get(); }

 private:
  struct Finalize {
    void operator()(sqlite3_stmt* statement) const { sqlite3_finalize(statement); }
  };
  std::unique_ptr<sqlite3_stmt, Finalize> statement_;
  int code_ = SQLITE_OK;
};

}  // namespace tallystick::record
