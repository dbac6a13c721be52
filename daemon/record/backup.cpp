#include "daemon/record/backup.hpp"

#include <SQLiteCpp/Backup.h>
#include <SQLiteCpp/Exception.h>
#include <fcntl.h>
#include <unistd.h>

#include "daemon/record/folder.hpp"
#include "daemon/record/schema.hpp"

namespace tallystick::record {

namespace {

Error cannot_write(const std::filesystem::path& file, const std::string& what) {
  return {"cannot_write", what, file.string(), "look whether the folder is writable and has room"};
}

bool sync(const std::filesystem::path& path, int flags) {
  const int descriptor = ::open(path.c_str(), flags | O_CLOEXEC);
  if (descriptor < 0) return false;
  const bool synced = ::fsync(descriptor) == 0;
  ::close(descriptor);
  return synced;
}

/// A file that is taken away again unless it was kept.
class Draft {
 public:
  explicit Draft(std::filesystem::path file) : file_(std::move(file)) { take_away(); }
  Draft(const Draft&) = delete;
  Draft& operator=(const Draft&) = delete;
  ~Draft() { take_away(); }
  const std::filesystem::path& file() const { return file_; }
  bool keep_as(const std::filesystem::path& name) const {
    std::error_code code;
    if (!sync(file_, O_RDONLY)) return false;
    // A link refuses where the name is taken; renaming would overwrite.
    std::filesystem::create_hard_link(file_, name, code);
    if (code) return false;
    const auto folder = name.has_parent_path() ? name.parent_path() : std::filesystem::path(".");
    return sync(folder, O_RDONLY | O_DIRECTORY);
  }

 private:
  void take_away() const {
    std::error_code code;
    for (const char* ending : {"", "-journal", "-wal", "-shm"})
      std::filesystem::remove(file_.string() + ending, code);
  }
  std::filesystem::path file_;
};

struct Mark {
  std::string why;  ///< becomes the branch's `why`
  std::string who;  ///< empty: whoever opens it
  std::int64_t utc_us = 0;
};

/// Copies in one step, turns the copy into a single file, and marks it.
Done copy_marked(Connection& from, const std::filesystem::path& to, const Mark& mark) {
  auto copy = Connection::open(to, Connection::Mode::create, "");
  if (!copy) return tl::unexpected<Error>(copy.error());
  try {
    SQLite::Backup step(copy->database(), from.database());
    const int code = step.executeStep(-1);
    if (code != SQLITE_DONE) return tl::unexpected<Error>(cannot_write(to, sqlite3_errstr(code)));
  } catch (const SQLite::Exception& fault) {
    return tl::unexpected<Error>(cannot_write(to, fault.what()));
  }
  // WAL needs two more files beside it: a backup is one file, which may be carried about and opened
  // read-only.
  if (copy->text("PRAGMA journal_mode = DELETE") != "delete")
    return tl::unexpected<Error>(copy->fault("cannot_write"));
  Statement put(*copy,
                "INSERT INTO setting VALUES(?, ?) ON CONFLICT(name) DO UPDATE SET value = excluded.value");
  if (!put.ready()) return tl::unexpected<Error>(copy->fault("cannot_write"));
  const auto set = [&](std::string_view name, std::string_view value) {
    put.bind_text(1, name);
    put.bind_text(2, value);
    const bool done = put.step() == SQLITE_DONE;
    put.reset();
    return done;
  };
  if (!set("mark", mark.why) || !set("mark_who", mark.who) ||
      !set("mark_utc_us", std::to_string(mark.utc_us)))
    return tl::unexpected<Error>(copy->fault("cannot_write"));
  return {};
}

Error taken(const std::filesystem::path& file) {
  return {"exists", "there is something of this name, and nothing is overwritten", file.string(),
          "name another one"};
}

}  // namespace

Expected<Copied> backup(const std::filesystem::path& journal, const std::filesystem::path& to,
                        const Stamp& now) {
  std::error_code code;
  if (std::filesystem::exists(to, code)) return tl::unexpected<Error>(taken(to));
  auto from = open_to_read(journal, "");
  if (!from) return tl::unexpected<Error>(from.error());
  const Draft draft(to.string() + ".part");
  Mark mark{"a backup of " + utc_text(now.utc_us) + " was opened to write", "", now.utc_us};
  if (auto done = copy_marked(*from, draft.file(), mark); !done) return tl::unexpected<Error>(done.error());
  auto checked = verify(draft.file());
  if (!checked) return tl::unexpected<Error>(checked.error());
  if (!draft.keep_as(to)) return tl::unexpected<Error>(cannot_write(to, "the backup cannot be put in place"));
  const Key last = checked->last;
  return Copied{to, last, std::move(*checked)};
}

Expected<Copied> restore(const std::filesystem::path& backup, const Place& to, const std::string& who,
                         const std::string& why) {
  if (auto local = check_local(to.data); !local) return tl::unexpected<Error>(local.error());
  std::error_code code;
  if (std::filesystem::exists(to.journal(), code)) return tl::unexpected<Error>(taken(to.journal()));
  auto checked = verify(backup);
  if (!checked) return tl::unexpected<Error>(checked.error());
  if (checked->finding_count > 0)
    return fail("not_sound",
                "the backup was found changed or damaged in " + std::to_string(checked->finding_count) +
                    " places, first " + checked->findings.front().where + ": " +
                    checked->findings.front().what,
                backup.string(), "take an older backup; verify lists all that was found");
  auto from = open_to_read(backup, "");
  if (!from) return tl::unexpected<Error>(from.error());
  std::filesystem::create_directories(to.data, code);
  const auto lock = Lock::take(to.lock());
  if (!lock) return tl::unexpected<Error>(lock.error());
  const Draft draft(to.journal().string() + ".part");
  const Mark mark{
      "restored from a copy that ends with " + text(checked->last) + (why.empty() ? "" : ": " + why), who, 0};
  if (auto done = copy_marked(*from, draft.file(), mark); !done) return tl::unexpected<Error>(done.error());
  if (!draft.keep_as(to.journal()))
    return tl::unexpected<Error>(cannot_write(to.journal(), "the journal cannot be put in place"));
  const Key last = checked->last;
  return Copied{to.journal(), last, std::move(*checked)};
}

}  // namespace tallystick::record
