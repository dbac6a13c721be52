// The floor: the least that takes a reading from a terminal and keeps it. One thread, one table, no rules, no
// page.
//   bench_floor [--hear] DATABASE TERMINAL...
// --hear: reads, parses and counts only; nothing is kept.
// One terminal: a blocking read, parse, one commit a reading. Several: whatever the terminals have is read,
// parsed and committed as one group. Both with SQLite's WAL and synchronous=FULL, as the daemon has them.
// Ends with its terminals.
#include <errno.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <sys/epoll.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <array>
#include <charconv>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <string_view>
#include <vector>

#include "tools/bench/commit_probe.hpp"
#include "tools/bench/plain_line.hpp"

namespace tallystick::bench {

namespace {

constexpr int wal_most_pages = 4096;  // as the daemon's writer: never a checkpoint within a block of presses
constexpr std::int64_t lower = 1'000'000'000, upper = 999'000'000'000;  // picometres

class Store {
 public:
  explicit Store(const char* file) {
    if (sqlite3_open(file, &database_) != SQLITE_OK) fail();
    run("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = 0;"
        "CREATE TABLE IF NOT EXISTS result(id INTEGER PRIMARY KEY, utc_us INTEGER, terminal INTEGER, raw "
        "BLOB,"
        " picometres INTEGER, accept INTEGER)");
    const char* insert =
        "INSERT INTO result(utc_us, terminal, raw, picometres, accept) VALUES(?, ?, ?, ?, ?)";
    if (sqlite3_prepare_v3(database_, insert, -1, SQLITE_PREPARE_PERSISTENT, &insert_, nullptr) != SQLITE_OK)
      fail();
    sqlite3_prepare_v3(database_, "BEGIN IMMEDIATE", -1, SQLITE_PREPARE_PERSISTENT, &begin_, nullptr);
    sqlite3_prepare_v3(database_, "COMMIT", -1, SQLITE_PREPARE_PERSISTENT, &commit_, nullptr);
    sqlite3_wal_hook(
        database_,
        [](void* self, sqlite3*, const char*, int pages) {
          static_cast<Store*>(self)->pages_ = pages;
          return SQLITE_OK;
        },
        this);
    grow_wal();
  }
  void begin() { step(begin_); }
  void commit() {
    step(commit_);
    if (pages_ > wal_most_pages) begin_wal_anew();
  }
  void add(std::size_t terminal, std::string_view line, std::int64_t picometres) {
    timespec now{};
    clock_gettime(CLOCK_REALTIME, &now);
    sqlite3_bind_int64(insert_, 1, std::int64_t{now.tv_sec} * 1'000'000 + now.tv_nsec / 1000);
    sqlite3_bind_int64(insert_, 2, static_cast<std::int64_t>(terminal));
    sqlite3_bind_blob(insert_, 3, line.data(), static_cast<int>(line.size()), SQLITE_STATIC);
    sqlite3_bind_int64(insert_, 4, picometres);
    sqlite3_bind_int(insert_, 5, picometres >= lower && picometres <= upper);
    step(insert_);
  }

 private:
  [[noreturn]] void fail() { give_up(std::string("floor: ") + sqlite3_errmsg(database_)); }
  void run(const char* sql) {
    if (sqlite3_exec(database_, sql, nullptr, nullptr, nullptr) != SQLITE_OK) fail();
  }
  /// The WAL gets the size that it will need, and is then written over from its beginning, as in a daemon
  /// that has run for a while: a commit that makes the file longer waits for the file system's own journal
  /// too.
  void grow_wal() {
    run("CREATE TABLE filler(bytes BLOB); INSERT INTO filler VALUES(zeroblob(20000000))");
    begin_wal_anew();
  }
  void begin_wal_anew() {
    if (sqlite3_wal_checkpoint_v2(database_, nullptr, SQLITE_CHECKPOINT_RESTART, nullptr, nullptr) ==
        SQLITE_OK)
      pages_ = 0;
  }
  void step(sqlite3_stmt* statement) {
    if (sqlite3_step(statement) != SQLITE_DONE) fail();
    sqlite3_reset(statement);
  }
  sqlite3* database_ = nullptr;
  sqlite3_stmt *insert_ = nullptr, *begin_ = nullptr, *commit_ = nullptr;
  int pages_ = 0;
};

struct Line {
  int descriptor = -1;
  std::string pending;
};

bool hear_only = false;
std::uint64_t heard = 0;
std::int64_t heard_sum = 0;

int opened(const char* path, int more) {
  const int out = open(path, O_RDWR | O_NOCTTY | O_CLOEXEC | more);
  termios raw{};
  if (out < 0 || tcgetattr(out, &raw) != 0) give_up(std::string("floor: cannot open ") + path);
  cfmakeraw(&raw);
  raw.c_cc[VMIN] = 1;
  raw.c_cc[VTIME] = 0;
  tcsetattr(out, TCSANOW, &raw);
  return out;
}

/// Whole lines of `line` go to the store; true where there was one. `begun`: the group's transaction is open.
void keep_lines(Store& store, Line& line, std::size_t terminal, bool& begun) {
  std::size_t from = 0;
  for (;;) {
    const auto end = line.pending.find('\r', from);
    if (end == std::string::npos) break;
    const std::string_view text(line.pending.data() + from, end - from);
    std::int64_t picometres = 0;
    if (plain_line(text, picometres) && hear_only) {
      ++heard;
      heard_sum += picometres;
    } else if (plain_line(text, picometres)) {
      if (!begun) store.begin();
      begun = true;
      store.add(terminal, {text.data(), text.size() + 1}, picometres);
    }
    from = end + 1;
  }
  line.pending.erase(0, from);
}

bool read_more(Line& line) {
  std::array<char, 4096> bytes;
  const auto count = read(line.descriptor, bytes.data(), bytes.size());
  if (count > 0) line.pending.append(bytes.data(), static_cast<std::size_t>(count));
  return count > 0 || (count < 0 && (errno == EAGAIN || errno == EINTR));
}

void one(Store& store, const char* path) {
  Line line{opened(path, 0), {}};
  std::puts("ready");
  std::fflush(stdout);
  while (read_more(line)) {
    bool begun = false;
    keep_lines(store, line, 0, begun);
    if (begun) store.commit();
  }
}

void many(Store& store, const std::vector<const char*>& paths) {
  const int events = epoll_create1(EPOLL_CLOEXEC);
  std::vector<Line> lines;
  for (const char* path : paths) {
    lines.push_back({opened(path, O_NONBLOCK), {}});
    epoll_event wanted{};
    wanted.events = EPOLLIN;
    wanted.data.u64 = lines.size() - 1;
    epoll_ctl(events, EPOLL_CTL_ADD, lines.back().descriptor, &wanted);
  }
  std::puts("ready");
  std::fflush(stdout);
  std::array<epoll_event, 256> ready;
  std::size_t open_lines = lines.size();
  while (open_lines > 0) {
    const int count = epoll_wait(events, ready.data(), static_cast<int>(ready.size()), -1);
    bool begun = false;
    for (int index = 0; index < count; ++index) {
      const auto terminal = static_cast<std::size_t>(ready[static_cast<std::size_t>(index)].data.u64);
      if (!read_more(lines[terminal])) {
        epoll_ctl(events, EPOLL_CTL_DEL, lines[terminal].descriptor, nullptr);
        --open_lines;
      }
      keep_lines(store, lines[terminal], terminal, begun);
    }
    if (begun) store.commit();
  }
}

}  // namespace

}  // namespace tallystick::bench

int main(int count, char** arguments) {
  if (count > 1 && std::string_view(arguments[1]) == "--hear") {
    tallystick::bench::hear_only = true;
    --count;
    ++arguments;
  }
  if (count < 3) {
    std::fprintf(stderr, "usage: bench_floor [--hear] DATABASE TERMINAL...\n");
    return 2;
  }
  tallystick::bench::Store store(arguments[1]);
  const std::vector<const char*> paths(arguments + 2, arguments + count);
  if (paths.size() == 1)
    tallystick::bench::one(store, paths.front());
  else
    tallystick::bench::many(store, paths);
  if (tallystick::bench::hear_only)
    std::printf("heard %llu, sum %lld\n", static_cast<unsigned long long>(tallystick::bench::heard),
                static_cast<long long>(tallystick::bench::heard_sum));
  return 0;
}
