#include "daemon/record/chain_check.hpp"

namespace tallystick::record {

namespace {

void add_column(ChainHash& chain, const Statement& row, int column) {
  // By the value, since each call on the statement looks the column up anew. The connection is this thread's
  // alone.
  sqlite3_value* value = sqlite3_column_value(row.handle(), column);
  const auto bytes_of = [&](const void* bytes) {
    const auto size = static_cast<std::size_t>(sqlite3_value_bytes(value));
    return std::string_view(size == 0 ? "" : static_cast<const char*>(bytes), size);
  };
  switch (sqlite3_value_type(value)) {
    case SQLITE_INTEGER:
      chain.add(sqlite3_value_int64(value));
      break;
    case SQLITE_TEXT:
      chain.add_text(bytes_of(sqlite3_value_text(value)));
      break;
    case SQLITE_BLOB:
      chain.add_blob(bytes_of(sqlite3_value_blob(value)));
      break;
    case SQLITE_NULL:
      chain.add_null();
      break;
    // The tables are STRICT and have no such column: bytes of it can only come from outside, and must not
    // fit.
    default:
      chain.add_blob("a number that is not whole");
      break;
  }
}

}  // namespace

const std::string& entry_select() {
  static const std::string columns = [] {
    std::string out;
    for (const auto name : entry_columns) out += (out.empty() ? "" : ", ") + std::string(name);
    return out;
  }();
  return columns;
}

Hash row_hash(ChainHash& chain, const Statement& row) {
  for (int column = 0; column < static_cast<int>(entry_columns.size()) - 1; ++column)
    add_column(chain, row, column);
  return chain.finish();
}

Hash branch_row_hash(ChainHash& chain, const Statement& row) {
  for (int column = 0; column < 10; ++column) add_column(chain, row, column);
  return chain.finish();
}

Expected<std::optional<Error>> check_tail(Connection& connection, const Tail& tail, std::uint64_t most) {
  ChainHash chain;
  std::optional<Error> broken;
  const auto break_at = [&](std::uint64_t seq, const char* what) {
    broken = Error{
        "broken_chain", what, text(Key{tail.journal, seq}),
        "keep a copy of the data folder, look into it with verify, then confirm the break to go on in a "
        "new branch"};
  };
  Hash before{};
  const std::uint64_t first = tail.seq > most ? tail.seq - most + 1 : 1;
  if (first == 1) {
    Statement branch(connection, std::string("SELECT ") + branch_select + " FROM branch WHERE number = ?");
    if (!branch.ready()) return tl::unexpected<Error>(connection.fault("cannot_read"));
    branch.bind(1, tail.branch);
    if (!branch.row()) return tl::unexpected<Error>(connection.fault("cannot_read"));
    before = branch_row_hash(chain, branch);
  }
  Statement rows(connection,
                 "SELECT " + entry_select() + " FROM entry WHERE branch = ? AND seq >= ? ORDER BY seq");
  if (!rows.ready()) return tl::unexpected<Error>(connection.fault("cannot_read"));
  rows.bind(1, tail.branch);
  rows.bind(2, first);
  std::uint64_t expected = first;
  int code = SQLITE_OK;
  while (!broken && (code = rows.step()) == SQLITE_ROW) {
    const auto seq = static_cast<std::uint64_t>(rows.integer(1));
    if (seq == first && first > 1) before = hash_from(rows.blob(18));
    const Hash hash = row_hash(chain, rows);
    if (seq != expected)
      break_at(expected, "an event is missing");
    else if (rows.blob(18) != bytes(before))
      break_at(seq, "the event does not name the hash of the one before it");
    else if (rows.blob(19) != bytes(hash))
      break_at(seq, "the event's bytes do not give the hash that stands beside them");
    before = hash;
    ++expected;
  }
  if (!broken && code != SQLITE_DONE) return tl::unexpected<Error>(connection.fault("cannot_read"));
  return broken;
}

}  // namespace tallystick::record
