#include "daemon/record/verify.hpp"

#include <algorithm>
#include <sstream>

#include "daemon/record/chain_check.hpp"
#include "daemon/record/fact_check.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/record/schema.hpp"

namespace tallystick::record {

namespace {

constexpr std::size_t most_findings = 1000;

class Verifier {
 public:
  Verifier(Connection connection, const VerifyOptions& options)
      : connection_(std::move(connection)), options_(options) {}

  Expected<VerifyReport> run();

 private:
  struct BranchState {
    std::int64_t number = 0, parent = 0, parent_seq = 0;
    std::string journal, parent_hash;
    Hash row_hash{};
  };
  /// How far a branch was gone through.
  struct Progress {
    std::uint64_t seq = 0;
    Hash hash{};
  };

  void find(std::string code, std::string where, std::string what);
  tl::unexpected<Error> fault() const { return tl::unexpected<Error>(connection_.fault("cannot_read")); }
  Done structure();
  Done pragma_rows(const char* pragma, const char* code, const char* what);
  Expected<std::vector<BranchState>> branches();
  Done branch_points(const std::vector<BranchState>& all);
  Done branch_events(const BranchState& branch);
  /// One read; true when the branch's end was reached.
  Expected<bool> some_events(const BranchState& branch, Progress& progress);
  void event(const BranchState& branch, const Statement& row, Progress& progress);
  void attachments(const std::string& where, std::string_view names);
  Done blobs();
  Done finder(const BranchState& branch);
  Done head();

  Connection connection_;
  const VerifyOptions& options_;
  VerifyReport report_;
  ChainHash chain_;
  Statement blob_there_;
  std::vector<std::string> confirmed_;
  std::uint64_t there_ = 0, done_ = 0;
};

void Verifier::find(std::string code, std::string where, std::string what) {
  ++report_.finding_count;
  const bool of_chain = code == "broken_chain" || code == "missing_event" || code == "branch_point";
  const bool is_confirmed =
      of_chain && std::find(confirmed_.begin(), confirmed_.end(), where) != confirmed_.end();
  if (report_.findings.size() < most_findings)
    report_.findings.push_back({std::move(code), std::move(where), std::move(what), is_confirmed});
}

Done Verifier::pragma_rows(const char* pragma, const char* code, const char* what) {
  Statement rows(connection_, pragma);
  if (!rows.ready()) return fault();
  int step = SQLITE_OK;
  while ((step = rows.step()) == SQLITE_ROW) {
    const std::string first(rows.text(0));
    if (first != "ok") find(code, first, std::string(what) + (first.empty() ? "" : ": " + first));
  }
  if (step != SQLITE_DONE) find(code, pragma, connection_.fault("").what);
  return {};
}

Done Verifier::structure() {
  Statement rows(connection_, "SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%'");
  if (!rows.ready()) return fault();
  std::vector<SchemaObject> found;
  while (rows.row())
    found.push_back({std::string(rows.text(0)), std::string(rows.text(1)), std::string(rows.text(2))});
  for (const auto& wanted : schema()) {
    const auto at = std::find_if(found.begin(), found.end(), [&](const auto& one) {
      return one.type == wanted.type && one.name == wanted.name;
    });
    if (at == found.end())
      find("schema", wanted.name, "the " + wanted.type + " is missing");
    else if (at->sql != wanted.sql)
      find("schema", wanted.name, "the " + wanted.type + " is not as it was made");
  }
  for (const auto& one : found)
    if (std::none_of(schema().begin(), schema().end(),
                     [&](const auto& wanted) { return wanted.name == one.name; }))
      find("schema", one.name, "the " + one.type + " does not belong to a journal");
  if (auto done = pragma_rows("PRAGMA quick_check(100)", "damaged_file", "the file is damaged"); !done)
    return done;
  return pragma_rows("PRAGMA foreign_key_check", "foreign_key", "rows name others that are not there");
}

Expected<std::vector<Verifier::BranchState>> Verifier::branches() {
  Statement rows(connection_, std::string("SELECT ") + branch_select + " FROM branch ORDER BY number");
  if (!rows.ready()) return fault();
  std::vector<BranchState> out;
  int code = SQLITE_OK;
  while ((code = rows.step()) == SQLITE_ROW) {
    BranchState one{rows.integer(0),           rows.integer(2),           rows.integer(3),
                    std::string(rows.text(1)), std::string(rows.blob(4)), {}};
    std::istringstream breaks{std::string(rows.text(8))};
    for (std::string key; breaks >> key;) confirmed_.push_back(key);
    one.row_hash = branch_row_hash(chain_, rows);
    out.push_back(std::move(one));
  }
  if (code != SQLITE_DONE) return fault();
  return out;
}

Done Verifier::branch_points(const std::vector<BranchState>& all) {
  Statement parent(connection_, "SELECT hash FROM entry WHERE branch = ? AND seq = ?");
  if (!parent.ready()) return fault();
  std::int64_t expected = 1;
  for (const auto& branch : all) {
    if (branch.number != expected)
      find("branch_point", branch.journal, "a branch before this one is missing");
    expected = branch.number + 1;
    if (branch.number == 1 && branch.parent == 0) continue;
    parent.bind(1, branch.parent);
    parent.bind(2, branch.parent_seq);
    if (branch.parent < 1 || branch.parent >= branch.number)
      find("branch_point", branch.journal, "the branch names no earlier branch as its parent");
    else if (branch.parent_seq > 0 && !parent.row())
      find("branch_point", branch.journal, "the event that the branch begins after is not there");
    else if (branch.parent_seq > 0 && parent.blob(0) != branch.parent_hash)
      find("branch_point", branch.journal, "the event that the branch begins after has another hash");
    parent.reset();
  }
  return {};
}

void Verifier::attachments(const std::string& where, std::string_view names) {
  std::istringstream all{std::string(names)};
  for (std::string name; all >> name;) {
    blob_there_.bind_text(1, name);
    if (!blob_there_.row())
      find("blob_missing", where, "the file " + name + " that the event names is not there");
    blob_there_.reset();
  }
}

void Verifier::event(const BranchState& branch, const Statement& row, Progress& progress) {
  const auto seq = static_cast<std::uint64_t>(row.integer(1));
  const auto where = [&] { return text(Key{branch.journal, seq}); };
  const Hash hash = row_hash(chain_, row);
  report_.bytes_hashed += chain_.last_size();
  if (seq != progress.seq + 1)
    find("missing_event", text(Key{branch.journal, progress.seq + 1}), "the event is not there");
  if (row.type(18) != SQLITE_BLOB || row.blob(18) != bytes(progress.hash))
    find("broken_chain", where(), "the event does not name the hash of the one before it");
  if (row.type(19) != SQLITE_BLOB || row.blob(19) != bytes(hash))
    find("broken_chain", where(), "the event's bytes do not give the hash that stands beside them");
  // Going on from the hash as it stands reports each change once, not every event after it.
  progress = {seq, hash_from(row.blob(19))};
  ++report_.checked.events;
}

Expected<bool> Verifier::some_events(const BranchState& branch, Progress& progress) {
  if (connection_.run("BEGIN") != SQLITE_OK) return fault();
  bool at_end = false;
  {
    Statement rows(connection_, "SELECT " + entry_select() +
                                    " FROM entry WHERE branch = ? AND seq > ? ORDER BY seq LIMIT ?");
    FactCheck facts(connection_, branch.number, progress.seq);
    if (!rows.ready() || !facts.ready()) return fault();
    rows.bind(1, branch.number);
    rows.bind(2, progress.seq);
    rows.bind(3, options_.events_a_read);
    std::uint64_t count = 0;
    int code = SQLITE_OK;
    while ((code = rows.step()) == SQLITE_ROW) {
      ++count;
      event(branch, rows, progress);
      if (!options_.tables) continue;
      if (auto differs = facts.compare(progress.seq, rows.text(16), report_.checked.facts))
        find("facts_differ", text(Key{branch.journal, progress.seq}), *differs);
      if (rows.type(17) != SQLITE_NULL) attachments(text(Key{branch.journal, progress.seq}), rows.text(17));
    }
    if (code != SQLITE_DONE) {
      find("damaged_file", text(Key{branch.journal, progress.seq + 1}), connection_.fault("").what);
      at_end = true;
    }
    done_ += count;
    at_end = at_end || count < options_.events_a_read;
    if (at_end && options_.tables)
      if (auto left = facts.left_over())
        find("facts_differ", branch.journal + "-" + *left, "the fact has no event");
    if (at_end) {
      report_.last = Key{branch.journal, progress.seq};
      report_.last_hash = hex(bytes(progress.hash));
    }
  }
  connection_.run("COMMIT");
  return at_end;
}

Done Verifier::branch_events(const BranchState& branch) {
  Progress progress{0, branch.row_hash};
  if (options_.since && options_.since->journal == branch.journal) {
    Statement row(connection_, "SELECT hash FROM entry WHERE branch = ? AND seq = ?");
    if (!row.ready()) return fault();
    row.bind(1, branch.number);
    row.bind(2, options_.since->seq);
    if (!row.row()) return fail("unknown_key", "there is no such event", text(*options_.since));
    progress = {options_.since->seq, hash_from(row.blob(0))};
  }
  for (;;) {
    auto at_end = some_events(branch, progress);
    if (!at_end) return tl::unexpected<Error>(at_end.error());
    if (options_.progress && !options_.progress(done_, std::max(done_, there_))) {
      report_.stopped = true;
      return {};
    }
    if (*at_end) break;
  }
  if (progress.seq == 0) find("missing_event", text(Key{branch.journal, 1}), "the branch has no first event");
  return {};
}

Done Verifier::blobs() {
  Statement rows(connection_, "SELECT sha256, bytes FROM blob");
  if (!rows.ready()) return fault();
  int code = SQLITE_OK;
  while ((code = rows.step()) == SQLITE_ROW) {
    ++report_.checked.blobs;
    if (hex(bytes(chain_.plain(rows.blob(1)))) != rows.text(0))
      find("blob_differs", std::string(rows.text(0)),
           "the file's bytes do not have the SHA-256 that names them");
  }
  if (code != SQLITE_DONE) find("damaged_file", "blob", connection_.fault("").what);
  return {};
}

/// What the finder says it has, and nothing else: else a search would pass over facts that are there.
Done Verifier::finder(const BranchState& branch) {
  struct Kept {
    const char *what, *table, *value, *n;
  };
  for (const auto& [what, table, value, n] :
       {Kept{"lot", "fact", "lot", "n"}, Kept{"part", "fact", "part", "n"}, Kept{"walk", "fact", "walk", "n"},
        Kept{"time", "fact", "measured_utc", "n"}, Kept{"event", "entry", "walk", "0"}}) {
    const std::string from = std::string(" FROM ") + table + " AS kept WHERE kept.branch = ?1 AND kept.seq <= (SELECT coalesce(max(seq), 0) "
                             "FROM finder_reach WHERE branch = ?1) AND coalesce(kept." + value + ", '') <> ''";
    const std::string there = std::string("EXISTS(SELECT 1 FROM finder WHERE what = '") + what + "' AND finder.value = kept." + value +
                              " AND finder.branch = kept.branch AND finder.seq = kept.seq AND finder.n = " +
                              (*n == '0' ? "0" : "kept.n") + ")";
    Statement rows(connection_, "SELECT (SELECT count(*)" + from + "), (SELECT count(*)" + from + " AND NOT " + there +
                                    "), (SELECT count(*) FROM finder WHERE what = '" + what + "' AND branch = ?1)");
    if (!rows.ready()) return fault();
    rows.bind(1, branch.number);
    if (!rows.row()) {
      find("damaged_file", branch.journal, connection_.fault("").what);
      return {};
    }
    if (rows.integer(1) != 0 || rows.integer(2) != rows.integer(0))
      find("finder_differs", branch.journal,
           std::string("what is found by ") + what + " is not what is kept; stop the daemon and empty the tables finder and finder_reach: "
           "they are made anew");
  }
  return {};
}

/// The head file lags behind: what it names must be there, and be the same.
Done Verifier::head() {
  if (options_.head_file.empty()) return {};
  const auto head = read_head(options_.head_file);
  if (!head) return {};
  Statement row(
      connection_,
      "SELECT hash FROM entry WHERE branch = (SELECT number FROM branch WHERE journal = ?) AND seq = ?");
  if (!row.ready()) return fault();
  row.bind_text(1, head->last.journal);
  row.bind(2, head->last.seq);
  if (!row.row())
    find("ends_before_head", text(head->last),
         "the head file names this event, and the journal does not hold it");
  else if (hex(row.blob(0)) != head->hash)
    find("ends_before_head", text(head->last), "the head file names another hash for this event");
  return {};
}

Expected<VerifyReport> Verifier::run() {
  if (options_.structure)
    if (auto done = structure(); !done) return tl::unexpected<Error>(done.error());
  blob_there_ = Statement(connection_, "SELECT 1 FROM blob WHERE sha256 = ?");
  if (!blob_there_.ready()) return fault();
  there_ = static_cast<std::uint64_t>(connection_.integer("SELECT count(*) FROM entry"));
  report_.marked = !connection_.text("SELECT value FROM setting WHERE name = 'mark'").empty();
  auto all = branches();
  if (!all) return tl::unexpected<Error>(all.error());
  if (auto done = branch_points(*all); !done) return tl::unexpected<Error>(done.error());
  bool begun = !options_.since;
  for (const auto& branch : *all) {
    begun = begun || branch.journal == options_.since->journal;
    if (!begun) continue;
    ++report_.checked.branches;
    if (auto done = branch_events(branch); !done) return tl::unexpected<Error>(done.error());
    if (report_.stopped) return report_;
    if (options_.tables)
      if (auto done = finder(branch); !done) return tl::unexpected<Error>(done.error());
  }
  if (!begun) return fail("unknown_key", "there is no such event", text(*options_.since));
  if (options_.tables)
    if (auto done = blobs(); !done) return tl::unexpected<Error>(done.error());
  if (auto done = head(); !done) return tl::unexpected<Error>(done.error());
  return report_;
}

}  // namespace

Expected<VerifyReport> verify(const std::filesystem::path& journal, const VerifyOptions& options,
                              const std::string& vfs) {
  auto connection = open_to_read(journal, vfs);
  if (!connection) return tl::unexpected<Error>(connection.error());
  return Verifier(std::move(*connection), options).run();
}

}  // namespace tallystick::record
