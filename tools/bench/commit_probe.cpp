#include "tools/bench/commit_probe.hpp"

#include <fcntl.h>
#include <sys/mman.h>
#include <time.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>

namespace tallystick::bench {

namespace {
constexpr std::size_t mapped_bytes = 4096;
constexpr std::uint32_t index_version = 3007000;  // of the format that this reads
std::int64_t nanoseconds(clockid_t clock) {
  timespec time{};
  clock_gettime(clock, &time);
  return std::int64_t{time.tv_sec} * 1'000'000'000 + time.tv_nsec;
}

}  // namespace

std::int64_t now_ns() { return nanoseconds(CLOCK_MONOTONIC); }
std::int64_t cpu_ns() { return nanoseconds(CLOCK_THREAD_CPUTIME_ID); }

void give_up(const std::string& what) {
  std::fprintf(stderr, "bench: %s (%s)\n", what.c_str(), std::strerror(errno));
  std::exit(1);
}

CommitProbe::CommitProbe(const std::string& shared_file) {
  const int descriptor = open(shared_file.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) give_up("cannot open " + shared_file);
  void* memory = mmap(nullptr, mapped_bytes, PROT_READ, MAP_SHARED, descriptor, 0);
  close(descriptor);
  if (memory == MAP_FAILED) give_up("cannot map " + shared_file);
  header_ = static_cast<const std::uint32_t*>(memory);
  if (header_[0] != index_version) give_up(shared_file + " is no WAL index of the known version");
}

CommitProbe::~CommitProbe() { munmap(const_cast<std::uint32_t*>(header_), mapped_bytes); }

bool CommitProbe::wait_past(std::uint32_t before, std::int64_t limit_ns) const {
  const auto end = now_ns() + limit_ns;
  do {
    for (int turn = 0; turn < 64; ++turn) {
      if (commits() != before) return true;
    }
  } while (now_ns() < end);
  return false;
}

}  // namespace tallystick::bench
