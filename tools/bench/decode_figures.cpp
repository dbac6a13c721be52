#include <cstring>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/plan.hpp"
#include "drivers/decode/replay_log.hpp"
#include "tools/bench/plain_line.hpp"
#include "tools/bench/plan.hpp"
#include "tools/bench/pure.hpp"

namespace tallystick::bench {

namespace {

constexpr std::size_t lines_a_turn = 1000;
constexpr std::size_t wake_up_bytes = 256;  // what a busy line brings at once
constexpr std::int64_t long_gap_us = 10'000'000;

/// The floor: memchr for the terminator, from_chars for the number, a sum so that it is not idle.
Work floor_work() {
  std::string bytes;
  for (unsigned number = 0; number < lines_a_turn; ++number) bytes += press_line(number);
  return [bytes]() -> std::uint64_t {
    std::int64_t sum = 0;
    std::uint64_t lines = 0;
    const char* at = bytes.data();
    const char* end = at + bytes.size();
    while (at < end) {
      const auto* terminator =
          static_cast<const char*>(std::memchr(at, '\r', static_cast<std::size_t>(end - at)));
      if (terminator == nullptr) break;
      std::int64_t picometres = 0;
      if (plain_line({at, static_cast<std::size_t>(terminator - at)}, picometres)) sum += picometres;
      ++lines;
      at = terminator + 1;
    }
    keep(sum);
    return lines;
  };
}

/// The understood frames of a recording, over and over.
std::vector<std::string> frames_of(const ReplayLog& log, const std::shared_ptr<const Dialect>& dialect) {
  std::vector<std::string> good, out;
  for (const auto& event : replay(log, dialect))
    if (event.decoded() != nullptr) good.push_back(event.frame.bytes);
  if (good.empty()) give_up("no frame of dialect " + dialect->name + " was understood");
  while (out.size() < lines_a_turn) out.insert(out.end(), good.begin(), good.end());
  return out;
}

Work plan_work(const std::shared_ptr<const Dialect>& dialect, const std::vector<std::string>& frames) {
  return [dialect, frames]() -> std::uint64_t {
    decode::Parsed parsed;
    std::uint64_t understood = 0;
    for (const auto& frame : frames) {
      if (!dialect->plan->read(frame, parsed)) ++understood;
      keep(parsed);
    }
    if (understood != frames.size()) give_up("a frame of dialect " + dialect->name + " was refused");
    return understood;
  };
}

/// From the stream's bytes to readings that keep their frames: as a port's wake-ups bring them.
Work decoder_work(const std::shared_ptr<const Dialect>& dialect, const std::vector<std::string>& frames) {
  const bool by_gap = dialect->framing.by == CutBy::idle_gap;
  return [dialect, frames, by_gap]() -> std::uint64_t {
    Decoder decoder(dialect);
    std::int64_t at_us = long_gap_us;
    std::uint64_t understood = 0;
    std::string wake_up;
    const auto count = [&](const std::vector<DecodeEvent>& events) {
      for (const auto& event : events) understood += event.decoded() != nullptr ? 1U : 0U;
    };
    const auto feed = [&] {
      at_us += by_gap ? long_gap_us : 1;
      const Stamp when = replay_stamp(at_us);
      count(decoder.feed(wake_up, when));
      if (by_gap) count(decoder.gap(when));
      wake_up.clear();
    };
    for (const auto& frame : frames) {
      wake_up += frame;
      if (by_gap || wake_up.size() >= wake_up_bytes) feed();
    }
    feed();
    if (understood != frames.size())
      give_up("a frame of dialect " + dialect->name + " was lost in the stream");
    return understood;
  };
}

}  // namespace

void decode_figures(const std::filesystem::path& root, const Effort& effort) {
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(root / "config" / "dialects"))
    if (entry.path().string().ends_with(".dialect.toml")) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  for (const auto& file : files) {
    auto read = read_dialect(text_of(file), file.string());
    if (!read) give_up("dialect " + file.string() + ": " + read.error().front().what);
    const auto dialect = std::make_shared<const Dialect>(std::move(*read));
    if (dialect->modbus) continue;  // a reply is understood by its request, not by a plan
    const auto recording = root / "tests" / "replay" / dialect->name / "good.log";
    auto log = read_replay_log(text_of(recording), recording.string());
    if (!log) give_up(recording.string() + ": " + log.error().front().what);
    const auto frames = frames_of(*log, dialect);
    boost::json::object more;
    more["dialect"] = dialect->name;
    more["regular_expression"] = dialect->plan->uses_regular_expression();
    more["checks_itself"] = dialect->plan->checks_itself();
    compare("decode_frame", effort, plan_work(dialect, frames), floor_work(), more);
    compare("decode_stream", effort, decoder_work(dialect, frames), floor_work(), more);
  }
}

}  // namespace tallystick::bench
