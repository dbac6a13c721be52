#include "daemon/record/writer.hpp"

#include <spdlog/spdlog.h>

#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>

#include "daemon/record/entry_store.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/record/writer_thread.hpp"

namespace tallystick::record {

namespace {

using Clock = std::chrono::steady_clock;

struct Waiting {
  Proposal proposal;
  Committed committed;
};
struct Answer {
  Committed committed;
  Expected<Key> result;
};

Keeping keeping_of(Meaning meaning, const Error& error) {
  switch (meaning) {
    case Meaning::full:
      return {false, "disk_full", "nothing is being kept: the disk is full",
              "free some space; it goes on by itself"};
    case Meaning::read_only:
      return {false, "read_only", "nothing is being kept: the data folder cannot be written",
              "make it writable for the daemon's user; it goes on by itself"};
    case Meaning::locked:
      return {false, "locked", "nothing is being kept: another program holds the journal",
              "end that program; it goes on by itself"};
    default:
      return {false, "io_error", "nothing is being kept: the disk reports an error: " + error.what,
              "look at the disk and the kernel's log; it goes on by itself when the disk answers again"};
  }
}

class WriterThread final : public Writer {
 public:
  WriterThread(Place place, Tail tail, Hooks hooks, Pace pace)
      : place_(std::move(place)), hooks_(std::move(hooks)), pace_(pace), tail_(std::move(tail)) {
    thread_ = std::thread([this] { run(); });
  }
  ~WriterThread() override { stop(); }

  void submit(Proposal proposal, Committed committed) override {
    {
      const std::lock_guard guard(mutex_);
      queue_.push_back({std::move(proposal), std::move(committed)});
    }
    changed_.notify_one();
  }

  void checkpoint(Key at, std::string state) override {
    {
      const std::lock_guard guard(mutex_);
      state_ = Kept{std::move(at), std::move(state)};
    }
    changed_.notify_one();
  }

  void turn(std::function<void()> turned) override {
    {
      const std::lock_guard guard(mutex_);
      turned_ = std::move(turned);
    }
    changed_.notify_one();
  }

  void stop() override {
    {
      const std::lock_guard guard(mutex_);
      if (!stopping_) {
        stopping_ = true;
        stop_by_ = Clock::now() + pace_.stop_within;
      }
    }
    changed_.notify_one();
    if (thread_.joinable()) thread_.join();
  }

 private:
  struct Kept {
    Key at;
    std::string state;
  };
  /// What one attempt to commit came to. `hashes` are those of the entries that were put in, also of a failed
  /// one.
  struct Attempt {
    Meaning meaning = Meaning::fine;
    Error error;
    std::vector<Hash> hashes;
  };

  void run();
  std::deque<Waiting> take();
  void settle(std::deque<Waiting> group);
  Attempt commit(const std::deque<Waiting>& group, std::size_t count);
  Meaning reopen(std::deque<Waiting>& group, const Attempt& failed);
  void answer_first(std::deque<Waiting>& group, std::size_t count);
  void refuse_first(std::deque<Waiting>& group, const Error& why);
  void give_up(std::deque<Waiting>& group);
  void post(std::vector<Answer> answers);
  void say(const Keeping& keeping);
  bool back_off(std::chrono::milliseconds& wait);
  void answer_turn(std::unique_lock<std::mutex>& lock);
  void tidy();
  Done tidy_once();
  Done extend_finder();

  const Place place_;
  const Hooks hooks_;
  const Pace pace_;

  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Waiting> queue_;
  std::optional<Kept> state_;
  std::function<void()> turned_;
  bool stopping_ = false;
  Clock::time_point stop_by_;

  // The thread's own.
  std::optional<EntryStore> store_;
  Tail tail_;
  Keeping keeping_;
  ChainHash digest_;
  bool untidy_ = true;
  std::uint64_t head_seq_ = 0;
  std::thread thread_;
};

void WriterThread::run() {
  tidy();
  for (;;) {
    auto group = take();
    if (group.empty()) break;
    settle(std::move(group));
  }
  tidy();
  store_.reset();
}

/// What queued; empty when the writer is to stop and nothing is left. Quiet moments are used from here.
std::deque<Waiting> WriterThread::take() {
  std::unique_lock lock(mutex_);
  const auto due = [this] { return !queue_.empty() || stopping_; };
  const auto woken = [&] { return due() || turned_; };
  answer_turn(lock);
  while (!due()) {
    if (!untidy_ && !state_) {
      changed_.wait(lock);
    } else if (!changed_.wait_for(lock, pace_.quiet, woken)) {
      lock.unlock();
      tidy();
      lock.lock();
    }
    answer_turn(lock);
  }
  if (queue_.size() <= pace_.group_most) return std::exchange(queue_, {});
  std::deque<Waiting> group;
  for (std::size_t index = 0; index < pace_.group_most; ++index) {
    group.push_back(std::move(queue_.front()));
    queue_.pop_front();
  }
  return group;
}

/// Ends when every event of the group is decided: durable, or set aside. Faults of the disk end nothing.
void WriterThread::settle(std::deque<Waiting> group) {
  auto wait = pace_.retry_first;
  std::size_t singly = 0;
  Attempt failed;  // by an I/O error: what it put in may be there or not
  while (!group.empty()) {
    Meaning meaning = Meaning::fine;
    if (!store_) {
      meaning = reopen(group, failed);
      if (meaning == Meaning::fine && group.empty()) break;
    }
    if (meaning == Meaning::fine) {
      const std::size_t count = singly > 0 ? 1 : group.size();
      Attempt attempt = commit(group, count);
      meaning = attempt.meaning;
      if (meaning == Meaning::fine) {
        answer_first(group, count);
        if (singly > 0) --singly;
        wait = pace_.retry_first;
        continue;
      }
      if (meaning == Meaning::ours) {
        if (count > 1) {
          singly = group.size();
        } else {
          refuse_first(group, attempt.error);
          if (singly > 0) --singly;
        }
        continue;
      }
      say(keeping_of(meaning, attempt.error));
      if (meaning == Meaning::disk) failed = std::move(attempt);
      // A connection that was opened read-only stays so when the folder can be written again.
      if (meaning == Meaning::disk || meaning == Meaning::read_only) store_.reset();
    }
    if (!back_off(wait)) return give_up(group);
  }
  if (store_ && store_->wal_pages() > pace_.wal_most_pages) tidy();
}

WriterThread::Attempt WriterThread::commit(const std::deque<Waiting>& group, std::size_t count) {
  Attempt attempt;
  const auto failed = [&](int code) {
    attempt.meaning = meaning_of(code);
    attempt.error = store_->fault("refused_by_journal");
    store_->rollback();
    return attempt;
  };
  Tail tail = tail_;
  if (const int code = store_->begin(); code != SQLITE_OK) return failed(code);
  for (std::size_t index = 0; index < count; ++index) {
    const Proposal& proposal = group[index].proposal;
    for (const auto& attachment : proposal.attachments) {
      if (hex(bytes(digest_.plain(attachment.bytes))) == attachment.sha256) continue;
      failed(SQLITE_CONSTRAINT);
      attempt.error =
          Error{"wrong_sha256", "an attachment's bytes do not have the SHA-256 that names them",
                attachment.sha256, "this is a fault of the program: report it with the file set aside"};
      return attempt;
    }
    if (const int code = store_->insert(proposal, tail); code != SQLITE_OK) return failed(code);
    attempt.hashes.push_back(tail.hash);
  }
  if (const int code = store_->commit(); code != SQLITE_OK) return failed(code);
  tail_ = std::move(tail);
  untidy_ = true;
  return attempt;
}

/// Opens the journal anew and finds out what the failed attempt left there: those events count as committed.
Meaning WriterThread::reopen(std::deque<Waiting>& group, const Attempt& failed) {
  Meaning meaning = Meaning::disk;
  auto store = EntryStore::open(place_, &meaning);
  if (!store) {
    say(keeping_of(meaning, store.error()));
    return Meaning::disk;
  }
  auto found = store->tail();
  if (!found) {
    say(keeping_of(Meaning::disk, found.error()));
    return Meaning::disk;
  }
  std::size_t there = 0;
  const bool same_branch = found->branch == tail_.branch && found->journal == tail_.journal;
  if (same_branch && found->seq > tail_.seq && found->seq - tail_.seq <= failed.hashes.size()) {
    there = static_cast<std::size_t>(found->seq - tail_.seq);
    if (failed.hashes[there - 1] != found->hash) there = 0;
  }
  if (there == 0 && !(same_branch && found->seq == tail_.seq && found->hash == tail_.hash)) {
    say({false, "journal_changed",
         "nothing is being kept: the journal ends otherwise than the daemon left it",
         "find out what wrote to the data folder; then restart the daemon"});
    return Meaning::disk;
  }
  // What is there may stand in the system's memory only: written anew and synced, before anything builds on
  // it.
  if (const int code = store->rewrite_wal(); code != SQLITE_OK) {
    say(keeping_of(meaning_of(code), store->fault("cannot_write")));
    return Meaning::disk;
  }
  if (there > 0) {
    tail_ = *found;
    store_ = std::move(*store);
    untidy_ = true;
    answer_first(group, there);
    return Meaning::fine;
  }
  store_ = std::move(*store);
  return Meaning::fine;
}

/// The first `count` events are durable; the newest of them is the tail.
void WriterThread::answer_first(std::deque<Waiting>& group, std::size_t count) {
  say({});
  std::vector<Answer> answers;
  answers.reserve(count);
  std::uint64_t seq = tail_.seq - count;
  for (std::size_t index = 0; index < count; ++index) {
    answers.push_back({std::move(group.front().committed), Key{tail_.journal, ++seq}});
    group.pop_front();
  }
  post(std::move(answers));
}

void WriterThread::refuse_first(std::deque<Waiting>& group, const Error& why) {
  auto& first = group.front();
  Error told = why;
  if (auto file = set_aside(place_.set_aside(), first.proposal, why); file) {
    told.where = file->string();
    spdlog::error("record: an event was set aside: {}", text(told));
  } else {
    // Not even its bytes can be kept: that is a fault of the disk, but this event can never be written.
    told.hint = "its bytes could not be kept either: " + text(file.error());
    spdlog::critical("record: an event is lost: {}", text(told));
  }
  post({{std::move(first.committed), tl::unexpected<Error>(std::move(told))}});
  group.pop_front();
}

/// The daemon ends and the disk is still at fault. Nobody was told of these events; their bytes are kept if
/// possible.
void WriterThread::give_up(std::deque<Waiting>& group) {
  const Error why{"not_kept", keeping_.why, place_.journal().string(), keeping_.hint};
  {
    const std::lock_guard guard(mutex_);
    for (auto& waiting : queue_) group.push_back(std::move(waiting));
    queue_.clear();
  }
  while (!group.empty()) refuse_first(group, why);
}

void WriterThread::post(std::vector<Answer> answers) {
  const auto job = [answers = std::move(answers)] {
    for (const auto& answer : answers)
      if (answer.committed) answer.committed(answer.result);
  };
  if (hooks_.post)
    hooks_.post(job);
  else
    job();
}

void WriterThread::say(const Keeping& keeping) {
  if (keeping.kept == keeping_.kept && keeping.code == keeping_.code) return;
  keeping_ = keeping;
  if (keeping.kept)
    spdlog::info("record: events are being kept again");
  else
    spdlog::error("record: {} ({})", keeping.why, keeping.hint);
  if (!hooks_.keeping) return;
  const auto job = [hook = hooks_.keeping, keeping] { hook(keeping); };
  if (hooks_.post)
    hooks_.post(job);
  else
    job();
}

/// Waits, longer each time. False when the writer is to stop and its time is over.
bool WriterThread::back_off(std::chrono::milliseconds& wait) {
  std::unique_lock lock(mutex_);
  if (stopping_ && Clock::now() >= stop_by_) return false;
  const auto until = Clock::now() + wait;
  // New submissions wake this up too: only time, or the wish to stop, ends the wait.
  changed_.wait_until(lock, until, [&] { return stopping_ && Clock::now() >= stop_by_; });
  answer_turn(lock);
  wait = std::min(wait * 2, pace_.retry_longest);
  if (stopping_) wait = std::min(wait, pace_.retry_first);
  return true;
}

void WriterThread::answer_turn(std::unique_lock<std::mutex>& lock) {
  if (!turned_) return;
  auto turned = std::exchange(turned_, nullptr);
  lock.unlock();
  if (hooks_.post)
    hooks_.post(std::move(turned));
  else
    turned();
  lock.lock();
}

void WriterThread::tidy() {
  // What fails here costs no event: it is tried again after the next commit, and at stop.
  if (auto done = tidy_once(); !done) spdlog::warn("record: {}", text(done.error()));
  untidy_ = false;
}

Done WriterThread::tidy_once() {
  std::optional<Kept> state;
  {
    const std::lock_guard guard(mutex_);
    state = std::exchange(state_, std::nullopt);
  }
  const bool opened_now = !store_;
  if (opened_now) {
    if (!untidy_ && !state) return {};
    auto store = EntryStore::open(place_);
    if (!store) return tl::unexpected<Error>(store.error());
    store_ = std::move(*store);
  }
  if (state && state->at.journal == tail_.journal && state->at.seq <= tail_.seq &&
      store_->keep_checkpoint(tail_.branch, state->at.seq, state->state) != SQLITE_OK)
    return tl::unexpected<Error>(store_->fault("cannot_write"));
  if (auto done = extend_finder(); !done) return done;
  // The first commit in a new WAL takes a second sync: let it be one that nobody waits for.
  const auto begin_wal = [&] { return store_->put_setting("wal_begun_at_seq", std::to_string(tail_.seq)); };
  if (opened_now && begin_wal() != SQLITE_OK) return tl::unexpected<Error>(store_->fault("cannot_write"));
  if (!opened_now && store_->wal_pages() > 0) {
    auto moved = store_->checkpoint_wal();
    if (!moved) return tl::unexpected<Error>(moved.error());
    if (*moved && begin_wal() != SQLITE_OK) return tl::unexpected<Error>(store_->fault("cannot_write"));
  }
  if (tail_.seq == head_seq_) return {};
  if (auto done = write_head(place_.head_file(), {{tail_.journal, tail_.seq}, hex(bytes(tail_.hash))}); !done)
    return done;
  head_seq_ = tail_.seq;
  return {};
}

/// Some hundreds of events at a time; as soon as somebody waits for a commit the rest is left for the next moment.
Done WriterThread::extend_finder() {
  for (bool more = true; more;) {
    if (store_->extend_finder(more) != SQLITE_OK) return tl::unexpected<Error>(store_->fault("cannot_write"));
    const std::lock_guard guard(mutex_);
    if (!queue_.empty()) return {};
  }
  return {};
}

}  // namespace

std::unique_ptr<Writer> start_writer(const Place& place, const Tail& tail, Writer::Hooks hooks, Pace pace) {
  return std::make_unique<WriterThread>(place, tail, std::move(hooks), pace);
}

}  // namespace tallystick::record
