// What the record's tests share: a data folder for one test, events of the invented shop, a desk that gets
// answers.
#pragma once

#include <unistd.h>

#include <condition_variable>
#include <deque>
#include <filesystem>
#include <mutex>
#include <string>
#include <vector>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/journal.hpp"
#include "daemon/record/reader.hpp"
#include "daemon/record/sqlite.hpp"

namespace tallystick::record::test {

/// A folder of its own, gone at the end of the test; in memory where the machine has such a place: what these
/// tests prove about the disk they prove on a model of one.
class Folder {
 public:
  Folder() {
    const std::filesystem::path memory = "/dev/shm";
    const bool usable = access(memory.c_str(), W_OK) == 0;
    std::string name =
        ((usable ? memory : std::filesystem::temp_directory_path()) / "tallystick-record-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) std::abort();
    path_ = name;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() {
    std::error_code code;
    std::filesystem::permissions(path_, std::filesystem::perms::owner_all, code);
    std::filesystem::remove_all(path_, code);
  }
  const std::filesystem::path& path() const { return path_; }
  Place place(const std::string& name = "data") const { return {path_ / name, path_ / "head", ""}; }

 private:
  std::filesystem::path path_;
};

inline Stamp stamp(int second = 0) {
  return {1'795'600'000'000'000 + second * std::int64_t{1'000'000}, second * std::int64_t{1'000'000'000},
          "0123456789abcdef0123456789abcdef", "trusted"};
}

inline Opening opening(const Place& place) { return {place, stamp(), "machine-a", "daemon"}; }

/// A fact of the invented shop (flanged bushings for winches, family FB).
inline Fact fact(int number) {
  Fact out;
  out.kind = "result";
  out.family = "fb";
  out.size = "FB-25";
  out.feature = "bore";
  out.balloon = "2";
  out.serial = std::to_string(number);
  out.verdict = number % 5 == 0 ? "reject" : "accept";
  out.value = "25.0" + std::to_string(10 + number % 10);
  out.unit = "mm";
  out.lower = "25.000";
  out.upper = "25.021";
  out.measured_again = number % 7 == 0;
  out.edition_number = 3;
  out.measured_utc = utc_text(stamp(number).utc_us);
  out.clock = "trusted";
  return out;
}

/// `outcome` holds the facts, as the record's rules want it.
inline Proposal proposal(int number, std::vector<Fact> facts) {
  Proposal out;
  out.kind = "reading";
  out.stamp = stamp(number);
  out.bench = "bench-1";
  out.gauge = "bore-gauge-25";
  out.person = "inspector one";
  out.input = "{\"number\":" + std::to_string(number) + "}";
  out.raw = "+0.00" + std::to_string(number % 10) + "\r";
  boost::json::array rows;
  for (const auto& one : facts) rows.push_back(mirror::write(one));
  out.outcome = boost::json::serialize(boost::json::object{{"what", "result"}, {"facts", rows}});
  out.facts = std::move(facts);
  return out;
}
inline Proposal proposal(int number) { return proposal(number, {fact(number)}); }

/// The caller's thread: runs what the writer posts, when asked to.
class Desk {
 public:
  Writer::Hooks hooks() {
    return {[this](std::function<void()> job) {
              const std::lock_guard guard(mutex_);
              jobs_.push_back(std::move(job));
              changed_.notify_one();
            },
            [this](const Keeping& keeping) { keepings.push_back(keeping); }};
  }
  Committed answer() {
    return [this](const Expected<Key>& result) {
      if (result)
        keys.push_back(*result);
      else
        refusals.push_back(result.error());
    };
  }
  std::size_t answers() const { return keys.size() + refusals.size(); }
  /// Runs jobs until `done`; false when that takes longer than ten seconds.
  bool run_until(const std::function<bool()>& done) {
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(10);
    while (!done()) {
      std::function<void()> job;
      {
        std::unique_lock lock(mutex_);
        if (!changed_.wait_until(lock, end, [this] { return !jobs_.empty(); })) return false;
        job = std::move(jobs_.front());
        jobs_.pop_front();
      }
      job();
    }
    return true;
  }
  bool wait_for(std::size_t count) {
    return run_until([&] { return answers() >= count; });
  }
  void run_what_is_there() {
    while (!jobs_.empty()) {
      auto job = std::move(jobs_.front());
      jobs_.pop_front();
      job();
    }
  }

  std::vector<Key> keys;
  std::vector<Error> refusals;
  std::vector<Keeping> keepings;

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<std::function<void()>> jobs_;
};

inline Pace fast_pace() {
  Pace pace;
  pace.quiet = std::chrono::milliseconds(20);
  pace.retry_first = std::chrono::milliseconds(2);
  pace.retry_longest = std::chrono::milliseconds(10);
  pace.stop_within = std::chrono::milliseconds(300);
  return pace;
}

/// Opens, writes the proposals, waits for every answer, stops. The keys in order.
inline std::vector<Key> write_events(const Opening& how, const std::vector<Proposal>& proposals) {
  auto journal = Journal::open(how);
  if (!journal) throw std::runtime_error(text(journal.error()));
  Desk desk;
  auto writer = (*journal)->writer(desk.hooks(), fast_pace());
  for (const auto& one : proposals) writer->submit(one, desk.answer());
  if (!desk.wait_for(proposals.size())) throw std::runtime_error("the writer did not answer");
  writer->stop();
  if (!desk.refusals.empty()) throw std::runtime_error(text(desk.refusals.front()));
  return desk.keys;
}
inline std::vector<Key> write_events(const Opening& how, int first, int count) {
  std::vector<Proposal> proposals;
  for (int number = first; number < first + count; ++number) proposals.push_back(proposal(number));
  return write_events(how, proposals);
}

}  // namespace tallystick::record::test
