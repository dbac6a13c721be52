#include "daemon/record/sqlite.hpp"

#include <SQLiteCpp/Exception.h>

namespace tallystick::record {

Meaning meaning_of(int code) {
  switch (code & 0xff) {
    case SQLITE_OK:
    case SQLITE_ROW:
    case SQLITE_DONE:
      return Meaning::fine;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
    case SQLITE_PROTOCOL:
      return Meaning::locked;
    case SQLITE_FULL:
    case SQLITE_NOMEM:
      return Meaning::full;
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
      return Meaning::read_only;
    case SQLITE_IOERR:
      return code == SQLITE_IOERR_NOMEM ? Meaning::full : Meaning::disk;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
    case SQLITE_CANTOPEN:
      return Meaning::disk;
    default:
      return Meaning::ours;
  }
}

Expected<Connection> Connection::open(const std::filesystem::path& file, Mode mode, const std::string& vfs) {
  int flags = SQLITE_OPEN_NOMUTEX;
  flags |= mode == Mode::read_only ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE;
  if (mode == Mode::create) flags |= SQLITE_OPEN_CREATE;
  Connection connection;
  connection.file_ = file.string();
  try {
    connection.database_ = std::make_unique<SQLite::Database>(connection.file_, flags, 0, vfs);
  } catch (const SQLite::Exception& fault) {
    return fail("cannot_open", std::string("the journal cannot be opened: ") + fault.what(), connection.file_,
                "look whether the folder exists, is writable for the daemon's user, and the disk is sound");
  }
  sqlite3_extended_result_codes(connection.handle(), 1);
  return connection;
}

int Connection::run(const char* sql) noexcept {
  const int code = sqlite3_exec(handle(), sql, nullptr, nullptr, nullptr);
  return code;
}

std::int64_t Connection::integer(const std::string& sql, int* code) {
  Statement statement(*this, sql);
  const int stepped = statement.ready() ? statement.step() : statement.code();
  if (code != nullptr) *code = stepped == SQLITE_ROW || stepped == SQLITE_DONE ? SQLITE_OK : stepped;
  return stepped == SQLITE_ROW ? statement.integer(0) : 0;
}

std::string Connection::text(const std::string& sql, int* code) {
  Statement statement(*this, sql);
  const int stepped = statement.ready() ? statement.step() : statement.code();
  if (code != nullptr) *code = stepped == SQLITE_ROW || stepped == SQLITE_DONE ? SQLITE_OK : stepped;
  return stepped == SQLITE_ROW ? std::string(statement.text(0)) : std::string();
}

Error Connection::fault(std::string code) const {
  const int result = sqlite3_extended_errcode(handle());
  std::string hint;
  switch (meaning_of(result)) {
    case Meaning::full:
      hint = "free some space on this disk";
      break;
    case Meaning::read_only:
      hint = "make the folder writable for the daemon's user";
      break;
    case Meaning::locked:
      hint = "end the program that holds the file";
      break;
    case Meaning::disk:
      hint = "look at the disk (kernel log), and keep a copy of the folder before anything else";
      break;
    default:
      break;
  }
  return Error{std::move(code), std::string(sqlite3_errmsg(handle())) + " [" + std::to_string(result) + "]",
               file_, std::move(hint)};
}

Statement::Statement(const Connection& connection, std::string_view sql) {
  sqlite3_stmt* statement = nullptr;
  code_ = sqlite3_prepare_v3(connection.handle(), sql.data(), static_cast<int>(sql.size()),
                             SQLITE_PREPARE_PERSISTENT, &statement, nullptr);
  statement_.reset(statement);
}

void Statement::bind_text(int index, std::string_view value) {
  // A null pointer would bind NULL, and an empty view may have one.
  sqlite3_bind_text64(statement_.get(), index, value.empty() ? "" : value.data(), value.size(), SQLITE_STATIC,
                      SQLITE_UTF8);
}

void Statement::bind_blob(int index, std::string_view value) {
  sqlite3_bind_blob64(statement_.get(), index, value.empty() ? "" : value.data(), value.size(),
                      SQLITE_STATIC);
}

void Statement::bind_text_or_null(int index, std::string_view value) {
  if (value.empty())
    bind_null(index);
  else
    bind_text(index, value);
}

std::string_view Statement::text(int column) const {
  // The order matters: sqlite3_column_text may convert, and only then is the length right.
  const auto* bytes = sqlite3_column_text(statement_.get(), column);
  const auto size = sqlite3_column_bytes(statement_.get(), column);
  if (bytes == nullptr) return {};
  return {reinterpret_cast<const char*>(bytes), static_cast<std::size_t>(size)};
}

std::string_view Statement::blob(int column) const {
  const void* bytes = sqlite3_column_blob(statement_.get(), column);
  const auto size = sqlite3_column_bytes(statement_.get(), column);
  if (bytes == nullptr) return {};
  return {static_cast<const char*>(bytes), static_cast<std::size_t>(size)};
}

}  // namespace tallystick::record
