#include <openssl/evp.h>
#include <sqlite3.h>

#include <charconv>
#include <condition_variable>
#include <fstream>
#include <mutex>

#include "daemon/export/feed.hpp"
#include "daemon/record/journal.hpp"
#include "daemon/record/reader.hpp"
#include "daemon/record/verify.hpp"
#include "tools/bench/bare_export.hpp"
#include "tools/bench/pure.hpp"

namespace tallystick::bench {

namespace {

using exporting::FactFeed;
using exporting::Form;

/// Resident peak since the last call of `forget_peak`, MiB.
double peak_mib() {
  std::ifstream status("/proc/self/status");
  std::string word;
  while (status >> word)
    if (word == "VmHWM:") {
      double kib = 0;
      status >> kib;
      return kib / 1024;
    }
  return 0;
}
void forget_peak() { std::ofstream("/proc/self/clear_refs") << "5"; }

/// What the work needs at its peak beyond what stood before it.
double more_mib(const Work& work) {
  forget_peak();
  const double before = peak_mib();
  work();
  return std::max(0.0, peak_mib() - before);
}

void fill(const record::Place& place, std::size_t events) {
  record::Opening opening;
  opening.place = place;
  opening.now = {1'795'600'000'000'000, 0, "0123456789abcdef0123456789abcdef", "trusted"};
  auto journal = record::Journal::open(opening);
  if (!journal) give_up("journal: " + text(journal.error()));
  std::mutex mutex;
  std::condition_variable changed;
  std::size_t kept = 0;
  record::Writer::Hooks hooks;
  hooks.post = [](std::function<void()> job) { job(); };
  auto writer = (*journal)->writer(std::move(hooks));
  for (auto& proposal : pressed_proposals(events))
    writer->submit(std::move(proposal), [&](const Expected<Key>& key) {
      if (!key) give_up("journal: " + text(key.error()));
      const std::lock_guard guard(mutex);
      ++kept;
      changed.notify_one();
    });
  {
    std::unique_lock lock(mutex);
    changed.wait(lock, [&] { return kept == events; });
  }
  writer->stop();
}

Work feed_work(const record::Place& place, Form form, std::uint64_t& bytes) {
  return [place, form, &bytes]() -> std::uint64_t {
    auto reader = record::Reader::open(place);
    if (!reader) give_up("export: " + text(reader.error()));
    auto feed = FactFeed::open(std::move(*reader), {}, form);
    if (!feed) give_up("export: " + text(feed.error()));
    bytes = 0;
    for (;;) {
      const auto piece = (*feed)->next();
      if (!piece) give_up("export: " + text(piece.error()));
      if (!*piece) return (*feed)->rows();
      bytes += (*piece)->size();
    }
  };
}

Work bare_work(const record::Place& place, bool json, std::uint64_t& bytes) {
  return [place, json, &bytes]() -> std::uint64_t {
    bytes = 0;
    return bare_export(place.journal(), json, [&bytes](const std::string& piece) { bytes += piece.size(); });
  };
}

void exports(const record::Place& place, const Effort& effort) {
  for (const Form form : {Form::csv, Form::json_lines}) {
    const bool json = form == Form::json_lines;
    std::uint64_t ours_bytes = 0, bare_bytes = 0;
    const Work ours = feed_work(place, form, ours_bytes), bare = bare_work(place, json, bare_bytes);
    const auto rows = ours(), bare_rows = bare();
    if (rows != bare_rows || rows == 0) give_up("the two exports have not the same rows");
    boost::json::object more;
    more["rows"] = rows;
    more["ours_more_mib"] = more_mib(ours);
    more["floor_more_mib"] = more_mib(bare);
    more["ours_bytes"] = ours_bytes;
    more["floor_bytes"] = bare_bytes;
    compare(json ? "export_json_lines" : "export_csv", effort, ours, bare, std::move(more));
  }
}

/// Hashes pieces of these sizes from memory: digest fetched once, context used again.
Work hash_work(std::vector<std::size_t> sizes) {
  const auto most = *std::max_element(sizes.begin(), sizes.end());
  return [sizes = std::move(sizes), bytes = std::string(most, 'x')]() mutable -> std::uint64_t {
    EVP_MD* kind = EVP_MD_fetch(nullptr, "SHA256", nullptr);
    EVP_MD_CTX* context = EVP_MD_CTX_new();
    unsigned char hash[EVP_MAX_MD_SIZE];
    unsigned int size = 0;
    for (const auto length : sizes) {
      EVP_DigestInit_ex2(context, kind, nullptr);
      EVP_DigestUpdate(context, bytes.data(), length);
      EVP_DigestFinal_ex(context, hash, &size);
      bytes.front() = static_cast<char>(hash[0]);
    }
    keep(hash);
    EVP_MD_CTX_free(context);
    EVP_MD_free(kind);
    return sizes.size();
  };
}

Work verify_work(const record::Place& place, std::uint64_t& bytes) {
  return [place, &bytes]() -> std::uint64_t {
    record::VerifyOptions options;
    options.structure = false;
    options.tables = false;
    const auto report = record::verify(place.journal(), options);
    if (!report) give_up("verify: " + text(report.error()));
    if (!report->sound()) give_up("verify: the journal just made is not sound");
    bytes = report->bytes_hashed;
    return report->checked.events;
  };
}

void chain(const record::Place& place, const Effort& effort) {
  std::uint64_t bytes = 0;
  const Work ours = verify_work(place, bytes);
  const auto events = ours();
  const auto each = bytes / events;
  std::vector<std::size_t> sizes(events, each);
  sizes.front() += bytes - each * events;
  const Work in_memory = hash_work(std::move(sizes)), rows = bare_chain_work(place.journal());
  boost::json::object more;
  more["events"] = events;
  more["bytes"] = bytes;
  more["ours_more_mib"] = more_mib(ours);
  compare("chain_check", effort, ours, in_memory, more);
  compare("chain_check_from_rows", effort, ours, rows, more);
}

}  // namespace

void record_figures(const std::filesystem::path& folder, std::size_t events, const Effort& effort) {
  const record::Place place{folder / "data", folder / "head", ""};
  fill(place, events);
  exports(place, effort);
  chain(place, effort);
}

}  // namespace tallystick::bench
