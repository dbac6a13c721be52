// Put before a program (LD_PRELOAD), counts what it syncs, by kind of file, into the file that
// BENCH_SYNC_COUNT names: three 64-bit counts, of SQLite's -wal files, of the databases themselves, of all
// others.
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/mman.h>
#include <unistd.h>

#include <array>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string_view>

namespace {

enum Kind : std::size_t { wal, database, other, kinds };

std::uint64_t* counts() {
  static auto* const shared = [] {
    static std::array<std::uint64_t, kinds> unseen{};
    const char* name = std::getenv("BENCH_SYNC_COUNT");
    const int file = name != nullptr ? open(name, O_RDWR | O_CLOEXEC) : -1;
    if (file < 0) return unseen.data();
    void* memory = mmap(nullptr, sizeof unseen, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    close(file);
    return memory == MAP_FAILED ? unseen.data() : static_cast<std::uint64_t*>(memory);
  }();
  return shared;
}

void count(int descriptor) {
  std::array<char, 32> link{};
  std::array<char, 4096> path{};
  std::snprintf(link.data(), link.size(), "/proc/self/fd/%d", descriptor);
  const auto size = readlink(link.data(), path.data(), path.size());
  const std::string_view name(path.data(), size > 0 ? static_cast<std::size_t>(size) : 0);
  const Kind kind = name.ends_with("-wal") ? wal : name.ends_with(".sqlite3") ? database : other;
  __atomic_fetch_add(counts() + kind, 1, __ATOMIC_RELAXED);
}

using Sync = int (*)(int);
Sync real(const char* name) {
  // POSIX asks for this conversion of what dlsym gives.
  return reinterpret_cast<Sync>(dlsym(RTLD_NEXT, name));
}

}  // namespace

extern "C" {
int fsync(int descriptor) {
  static const Sync next = real("fsync");
  count(descriptor);
  return next(descriptor);
}
int fdatasync(int descriptor) {
  static const Sync next = real("fdatasync");
  count(descriptor);
  return next(descriptor);
}
}
