#include "daemon/chain_watch.hpp"

#include <sched.h>
#include <spdlog/spdlog.h>

#include <chrono>

namespace tallystick {

namespace {
constexpr std::uint64_t events_a_read = 2000;
constexpr std::chrono::milliseconds between_reads{20};
}  // namespace

ChainWatch::ChainWatch(record::Place place, std::function<void(const record::Finding&, std::uint64_t)> broken)
    : place_(std::move(place)), broken_(std::move(broken)),
      state_{{"state", "checking"}, {"events_checked", 0}, {"events", 0}, {"findings", 0}}, thread_([this] { run(); }) {}

ChainWatch::~ChainWatch() {
  stop_ = true;
  thread_.join();
}

boost::json::object ChainWatch::state() const {
  const std::lock_guard guard(mutex_);
  return state_;
}

void ChainWatch::run() {
  // Only when nobody else wants the processor; where that is not allowed the pauses must do.
  const sched_param lowest{};
  static_cast<void>(sched_setscheduler(0, SCHED_IDLE, &lowest));
  record::VerifyOptions options;
  options.structure = false;   // reads every page of the file at once: that is for `tallystick verify`
  options.events_a_read = events_a_read;
  options.progress = [this](std::uint64_t done, std::uint64_t there) {
    {
      const std::lock_guard guard(mutex_);
      state_["events_checked"] = done;
      state_["events"] = there;
    }
    std::this_thread::sleep_for(between_reads);
    return !stop_.load();
  };
  const auto report = record::verify(place_.journal(), options, place_.vfs);
  if (report && report->stopped) return;
  std::vector<record::Finding> open;
  if (report)
    for (const auto& finding : report->findings)
      if (!finding.confirmed) open.push_back(finding);
  {
    const std::lock_guard guard(mutex_);
    state_["state"] = !report ? "not_checked" : open.empty() ? "sound" : "broken";
    if (!report) state_["first"] = text(report.error());
    else if (!open.empty()) state_["first"] = open.front().where + ": " + open.front().what;
    state_["findings"] = open.size();
  }
  if (!report) spdlog::error("the record could not be checked: {}", text(report.error()));
  else if (open.empty()) spdlog::info("the whole record is sound: {} events", state().at("events_checked").to_number<std::uint64_t>());
  else spdlog::error("the record is not as it was written ({} findings, first {}: {}); run tallystick verify", open.size(), open.front().where, open.front().what);
  if (report && !open.empty()) broken_(open.front(), open.size());
}

}  // namespace tallystick
