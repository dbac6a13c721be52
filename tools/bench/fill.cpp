// Fills a data folder as a daemon would have left it after so many presses: journal, facts, checkpoint. Invented data.
#include <condition_variable>
#include <cstdio>
#include <cstdlib>
#include <mutex>

#include "daemon/record/journal.hpp"
#include "tools/bench/invented_bench.hpp"
#include "tools/bench/pure.hpp"

int main(int count, char** arguments) {
  using namespace tallystick;
  using namespace tallystick::bench;
  if (count != 3) {
    std::fprintf(stderr, "usage: bench_fill FOLDER RESULTS   (tools/bench/run calls it)\n");
    return 2;
  }
  const auto wanted = std::strtoull(arguments[2], nullptr, 10);
  record::Opening opening;
  opening.place = {arguments[1], std::filesystem::path(arguments[1]) / "head", ""};
  opening.now = {1'795'600'000'000'000, 0, "0123456789abcdef0123456789abcdef", "trusted"};
  opening.machine = record::machine_id();
  auto journal = record::Journal::open(opening);
  if (!journal) give_up("journal: " + text(journal.error()));
  std::mutex mutex;
  std::condition_variable changed;
  std::size_t sent = 0, kept = 0;
  Key last;
  record::Writer::Hooks hooks;
  hooks.post = [](std::function<void()> job) { job(); };
  auto writer = (*journal)->writer(std::move(hooks));
  InventedBench bench(12, true);
  for (std::uint64_t pressed = 0; pressed < wanted;) {
    for (int turn = 0; turn < 2000 && pressed < wanted; ++turn, ++pressed) bench.press();
    sent += bench.proposals.size();
    for (auto& proposal : bench.proposals)
      writer->submit(std::move(proposal), [&](const Expected<Key>& key) {
        if (!key) give_up("journal: " + text(key.error()));
        const std::lock_guard guard(mutex);
        last = *key;
        ++kept;
        changed.notify_one();
      });
    bench.proposals.clear();
    std::unique_lock lock(mutex);
    changed.wait(lock, [&] { return kept == sent; });
  }
  writer->checkpoint(last, bench.desk().checkpoint().second);
  writer->stop();
  std::printf("%zu events\n", kept);
  return 0;
}
