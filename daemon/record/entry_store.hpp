// Puts proposals into the journal's tables: the statements of the one writing connection.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "daemon/record/chain.hpp"
#include "daemon/record/place.hpp"
#include "daemon/record/sqlite.hpp"

namespace tallystick::record {

/// The writing connection with its statements. Belongs to one thread.
class EntryStore {
 public:
  /// Opens and sets the connection up. Errors as Connection::open, "cannot_open"; `meaning` then says what it
  /// means.
  static Expected<EntryStore> open(const Place& place, Meaning* meaning = nullptr);

  int begin() { return connection_.run("BEGIN IMMEDIATE"); }
  int commit() { return connection_.run("COMMIT"); }
  void rollback();
  /// Inserts the entry after `tail`, its blobs and its facts, and moves `tail` on to it. On a failure `tail`
  /// is as it was and the transaction must be rolled back.
  int insert(const Proposal& proposal, Tail& tail);
  /// A new branch and its first event; `tail` becomes its end.
  int insert_branch(const BranchRow& row, const Stamp& now, Tail& tail);
  /// Takes the next events into the finder, some hundreds, in a transaction of its own; `more`: others are left.
  int extend_finder(bool& more);
  /// Keeps the daemon's state; older ones go.
  int keep_checkpoint(std::int64_t branch, std::uint64_t seq, std::string_view state);
  int put_setting(std::string_view name, std::string_view value);

  /// End of the newest branch as the file has it.
  Expected<Tail> tail();
  /// Hash of an entry, empty where there is none.
  Expected<std::string> hash_at(std::int64_t branch, std::uint64_t seq);
  /// Moves the WAL into the database; true when all of it was moved.
  Expected<bool> checkpoint_wal();
  /// Writes every byte of the WAL again as it is, and syncs it. After a sync that failed the system may take
  /// what it could not write for written, and report success from then on: only bytes written anew are sure
  /// to be durable.
  int rewrite_wal();
  /// Pages in the WAL after the newest commit.
  std::uint64_t wal_pages() const { return *wal_pages_; }
  Connection& connection() { return connection_; }
  Error fault(const std::string& code) const { return connection_.fault(code); }

 private:
  EntryStore() = default;
  int insert_entry(const Proposal& proposal, const std::string& attachments, const Tail& tail,
                   const Hash& hash);
  int insert_blobs(const Proposal& proposal);
  int finder_rows(std::int64_t branch, std::uint64_t after, std::uint64_t until);
  int insert_facts(const Proposal& proposal, std::int64_t branch, std::uint64_t seq);
  void bind_fact(const Fact& fact);

  std::unique_ptr<std::uint64_t> wal_pages_ = std::make_unique<std::uint64_t>(0);
  // Statements are destroyed before the connection that they belong to.
  Connection connection_;
  Statement entry_, fact_, blob_, checkpoint_, forget_, setting_;
  std::unique_ptr<ChainHash> chain_ = std::make_unique<ChainHash>();
};

}  // namespace tallystick::record
