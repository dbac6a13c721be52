// SQLite on a disk in memory that loses power, fails, fills up or becomes read-only when a test says so.
//
//   faults::PowerLossVfs disk("some-name");               // registered with SQLite while it lives
//   place.vfs = disk.name();                              // the record then writes here
//   disk.stop_power_at(disk.changes() + 17);              // the 17th change from now on is the last that
//   happens
//   ... write until everything fails, close all connections ...
//   disk.lose_power(seed);                                // forgets what was not synced, by the seed
//   ... open again, look what is there ...
//
// Every function may be called from any thread. Connections must be closed before lose_power and before the
// end.
#pragma once

#include <sqlite3.h>

#include <array>
#include <atomic>
#include <cstring>
#include <memory>
#include <mutex>
#include <random>
#include <set>
#include <string>

#include "tests/faults/lossy_disk.hpp"

namespace tallystick::faults {

/// When calls fail. `at` counts from 1; 0: never.
struct FaultPlan {
  std::uint64_t at = 0;
  bool sticky = false;  ///< every call from then on, else this one only
  bool full = false;    ///< as if there were no space: then only writes count and fail; else I/O errors
};

class PowerLossVfs {
 public:
  explicit PowerLossVfs(std::string name) : name_(std::move(name)) {
    base_ = sqlite3_vfs_find(nullptr);
    vfs_ = *base_;
    vfs_.iVersion = 1;
    vfs_.szOsFile = sizeof(Handle);
    vfs_.zName = name_.c_str();
    vfs_.pAppData = this;
    vfs_.xOpen = open;
    vfs_.xDelete = remove;
    vfs_.xAccess = access;
    vfs_.xFullPathname = full_path;
    vfs_.xRandomness = [](sqlite3_vfs* vfs, int size, char* out) { return of(vfs).randomness(size, out); };
    sqlite3_vfs_register(&vfs_, 0);
  }
  ~PowerLossVfs() { sqlite3_vfs_unregister(&vfs_); }
  PowerLossVfs(const PowerLossVfs&) = delete;
  PowerLossVfs& operator=(const PowerLossVfs&) = delete;

  const std::string& name() const { return name_; }
  /// Calls that change something (write, truncate, sync, delete), calls of any kind, syncs, since the
  /// beginning.
  std::uint64_t changes() const { return changes_; }
  std::uint64_t calls() const { return calls_; }
  std::uint64_t syncs() const { return syncs_; }

  void plan(FaultPlan fault) {
    const std::lock_guard guard(mutex_);
    fault_ = fault;
    if (fault.at != 0) fault_.at += fault.full ? writes_ : calls_;
  }
  /// Whether a planned fault has come to pass.
  bool struck() const { return struck_; }
  void set_full(bool full) { full_ = full; }
  void set_read_only(bool read_only) { read_only_ = read_only; }
  /// With change number `change` the power goes: it may happen or not, all later calls fail. 0: never.
  void stop_power_at(std::uint64_t change) { stop_at_ = change; }
  /// The same with sync number `sync`.
  void stop_power_at_sync(std::uint64_t sync) { stop_at_sync_ = sync; }
  bool power_is_off() const { return off_; }
  void lose_power(std::uint64_t seed) {
    const std::lock_guard guard(mutex_);
    std::mt19937_64 random(seed);
    disk_.lose_power(random);
    shared_memory_.clear();
    locks_.clear();
    off_ = false;
    stop_at_ = 0;
    stop_at_sync_ = 0;
  }

 private:
  enum class Kind : std::uint8_t { read, write, truncate, sync, open, remove, size, lock, memory };
  struct Handle {
    sqlite3_file base;  // first: SQLite sees only this
    PowerLossVfs* disk;
    std::string* name;
    int level;
    int flags;
    bool writable;
  };
  struct FileLock {
    std::map<const Handle*, int> levels;
  };
  struct SharedMemory {
    std::set<const Handle*> holders;
    std::vector<std::unique_ptr<char[]>> regions;
    std::array<std::set<const Handle*>, SQLITE_SHM_NLOCK> shared;
    std::array<const Handle*, SQLITE_SHM_NLOCK> exclusive{};
  };

  static PowerLossVfs& of(sqlite3_vfs* vfs) { return *static_cast<PowerLossVfs*>(vfs->pAppData); }
  static Handle& of(sqlite3_file* file) { return *reinterpret_cast<Handle*>(file); }

  static int code_of(Kind kind) {
    switch (kind) {
      case Kind::read:
        return SQLITE_IOERR_READ;
      case Kind::write:
        return SQLITE_IOERR_WRITE;
      case Kind::truncate:
        return SQLITE_IOERR_TRUNCATE;
      case Kind::sync:
        return SQLITE_IOERR_FSYNC;
      case Kind::open:
        return SQLITE_CANTOPEN;
      case Kind::remove:
        return SQLITE_IOERR_DELETE;
      case Kind::size:
        return SQLITE_IOERR_FSTAT;
      case Kind::lock:
        return SQLITE_IOERR_LOCK;
      case Kind::memory:
        return SQLITE_IOERR_SHMMAP;
    }
    return SQLITE_IOERR;
  }

  /// What this call must answer instead of doing its work; SQLITE_OK: do it. The mutex is held.
  int verdict(Kind kind) {
    ++calls_;
    if (kind == Kind::write) ++writes_;
    if (off_) return code_of(kind);
    if (fault_.at == 0 || (fault_.full && kind != Kind::write)) return SQLITE_OK;
    const std::uint64_t count = fault_.full ? writes_ : calls_;
    if (fault_.sticky ? count < fault_.at : count != fault_.at) return SQLITE_OK;
    struck_ = true;
    return fault_.full ? SQLITE_FULL : code_of(kind);
  }
  /// Counts a change; true when the power goes with it. Whether it still happens is a throw of the dice.
  bool power_goes(bool& happens) {
    happens = true;
    if (++changes_ != stop_at_) return false;
    happens = (changes_ * 2654435761U >> 16) % 2 == 0;
    off_ = true;
    return true;
  }

  int randomness(int size, char* out) {
    const std::lock_guard guard(mutex_);
    for (int index = 0; index < size; ++index) out[index] = static_cast<char>(random_());
    return size;
  }

  static int full_path(sqlite3_vfs*, const char* name, int size, char* out) {
    sqlite3_snprintf(size, out, "%s", name);
    return SQLITE_OK;
  }

  static int open(sqlite3_vfs* vfs, const char* name, sqlite3_file* file, int flags, int* out_flags) {
    PowerLossVfs& disk = of(vfs);
    const std::lock_guard guard(disk.mutex_);
    Handle& handle = of(file);
    std::memset(&handle, 0, sizeof handle);
    if (const int code = disk.verdict(Kind::open); code != SQLITE_OK) return code;
    const std::string path = name == nullptr ? "temporary-" + std::to_string(disk.calls_) : name;
    LossyFile* found = disk.disk_.find(path);
    if (found == nullptr && (flags & SQLITE_OPEN_CREATE) == 0) return SQLITE_CANTOPEN;
    const bool read_only = disk.read_only_ || (flags & SQLITE_OPEN_READONLY) != 0;
    if (found == nullptr) {
      if (disk.read_only_) return SQLITE_CANTOPEN;
      disk.disk_.file(path) = LossyFile{};
      disk.disk_.file(path).there = true;
    }
    handle.base.pMethods = methods();
    handle.disk = &disk;
    handle.name = new std::string(path);
    handle.flags = flags;
    handle.writable = !read_only;
    if (out_flags != nullptr)
      *out_flags =
          read_only ? (flags & ~(SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE)) | SQLITE_OPEN_READONLY : flags;
    return SQLITE_OK;
  }

  static int remove(sqlite3_vfs* vfs, const char* name, int synced) {
    PowerLossVfs& disk = of(vfs);
    const std::lock_guard guard(disk.mutex_);
    if (const int code = disk.verdict(Kind::remove); code != SQLITE_OK) return code;
    if (disk.disk_.find(name) == nullptr) return SQLITE_IOERR_DELETE_NOENT;
    bool happens = true;
    const bool goes = disk.power_goes(happens);
    if (happens) disk.disk_.remove(name, synced != 0);
    return goes ? SQLITE_IOERR_DELETE : SQLITE_OK;
  }

  static int access(sqlite3_vfs* vfs, const char* name, int flags, int* out) {
    PowerLossVfs& disk = of(vfs);
    const std::lock_guard guard(disk.mutex_);
    const LossyFile* found = disk.disk_.find(name);
    *out = found != nullptr && (flags != SQLITE_ACCESS_READWRITE || !disk.read_only_) ? 1 : 0;
    return SQLITE_OK;
  }

  static int close(sqlite3_file* file) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    handle.disk->locks_[*handle.name].levels.erase(&handle);
    handle.disk->forget_memory_locks(handle);
    delete handle.name;
    handle.name = nullptr;
    return SQLITE_OK;
  }

  static int read(sqlite3_file* file, void* out, int size, sqlite3_int64 offset) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    if (const int code = handle.disk->verdict(Kind::read); code != SQLITE_OK) return code;
    const std::string& bytes = handle.disk->disk_.file(*handle.name).now;
    const auto at = static_cast<std::size_t>(offset), wanted = static_cast<std::size_t>(size);
    const std::size_t there = at < bytes.size() ? std::min(wanted, bytes.size() - at) : 0;
    if (there > 0) std::memcpy(out, bytes.data() + at, there);
    if (there == wanted) return SQLITE_OK;
    std::memset(static_cast<char*>(out) + there, 0, wanted - there);
    return SQLITE_IOERR_SHORT_READ;
  }

  static int write(sqlite3_file* file, const void* bytes, int size, sqlite3_int64 offset) {
    Handle& handle = of(file);
    PowerLossVfs& disk = *handle.disk;
    const std::lock_guard guard(disk.mutex_);
    LossyFile& there = disk.disk_.file(*handle.name);
    const int code = disk.verdict(Kind::write);
    auto wanted = static_cast<std::size_t>(size);
    // A write that fails may have written a part.
    if (code != SQLITE_OK) wanted = disk.off_ ? 0 : wanted / 2;
    if (code == SQLITE_OK && disk.read_only_) return SQLITE_IOERR_WRITE;
    if (code == SQLITE_OK && disk.full_ && static_cast<std::uint64_t>(offset) + wanted > there.now.size())
      return SQLITE_FULL;
    bool happens = true;
    const bool goes = code == SQLITE_OK && disk.power_goes(happens);
    if (happens && wanted > 0)
      there.change({static_cast<std::uint64_t>(offset), std::string(static_cast<const char*>(bytes), wanted),
                    false, false});
    return goes ? SQLITE_IOERR_WRITE : code;
  }

  static int truncate(sqlite3_file* file, sqlite3_int64 size) {
    Handle& handle = of(file);
    PowerLossVfs& disk = *handle.disk;
    const std::lock_guard guard(disk.mutex_);
    if (const int code = disk.verdict(Kind::truncate); code != SQLITE_OK) return code;
    bool happens = true;
    const bool goes = disk.power_goes(happens);
    if (happens) disk.disk_.file(*handle.name).change({static_cast<std::uint64_t>(size), "", true, false});
    return goes ? SQLITE_IOERR_TRUNCATE : SQLITE_OK;
  }

  static int sync(sqlite3_file* file, int) {
    Handle& handle = of(file);
    PowerLossVfs& disk = *handle.disk;
    const std::lock_guard guard(disk.mutex_);
    LossyFile& there = disk.disk_.file(*handle.name);
    if (const int code = disk.verdict(Kind::sync); code != SQLITE_OK) {
      there.sync_failed();
      return code;
    }
    if (++disk.syncs_ == disk.stop_at_sync_) disk.stop_at_ = disk.changes_ + 1;
    bool happens = true;
    const bool goes = disk.power_goes(happens);
    if (happens) {
      // As Linux's own layer does: the first sync of a new WAL or rollback journal syncs the folder too.
      if (!there.there_on_platter && (handle.flags & (SQLITE_OPEN_WAL | SQLITE_OPEN_MAIN_JOURNAL)) != 0)
        disk.disk_.sync_names();
      there.sync();
    }
    return goes ? SQLITE_IOERR_FSYNC : SQLITE_OK;
  }

  static int file_size(sqlite3_file* file, sqlite3_int64* out) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    if (const int code = handle.disk->verdict(Kind::size); code != SQLITE_OK) return code;
    *out = static_cast<sqlite3_int64>(handle.disk->disk_.file(*handle.name).now.size());
    return SQLITE_OK;
  }

  static int lock(sqlite3_file* file, int level) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    if (const int code = handle.disk->verdict(Kind::lock); code != SQLITE_OK) return code;
    auto& levels = handle.disk->locks_[*handle.name].levels;
    for (const auto& [other, held] : levels) {
      if (other == &handle) continue;
      if (level == SQLITE_LOCK_SHARED && held >= SQLITE_LOCK_PENDING) return SQLITE_BUSY;
      if (level == SQLITE_LOCK_RESERVED && held >= SQLITE_LOCK_RESERVED) return SQLITE_BUSY;
      if (level == SQLITE_LOCK_EXCLUSIVE && held >= SQLITE_LOCK_SHARED) return SQLITE_BUSY;
    }
    handle.level = std::max(handle.level, level);
    levels[&handle] = handle.level;
    return SQLITE_OK;
  }

  static int unlock(sqlite3_file* file, int level) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    handle.level = std::min(handle.level, level);
    handle.disk->locks_[*handle.name].levels[&handle] = handle.level;
    return SQLITE_OK;
  }

  static int reserved(sqlite3_file* file, int* out) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    *out = 0;
    for (const auto& [other, held] : handle.disk->locks_[*handle.name].levels)
      if (held >= SQLITE_LOCK_RESERVED) *out = 1;
    return SQLITE_OK;
  }

  static int control(sqlite3_file*, int, void*) { return SQLITE_NOTFOUND; }
  static int sector_size(sqlite3_file*) { return static_cast<int>(LossyDisk::sector); }
  // As Linux's own layer says of ext4 and its like: a write damages nothing beside it.
  static int characteristics(sqlite3_file*) { return SQLITE_IOCAP_POWERSAFE_OVERWRITE; }

  static int memory_map(sqlite3_file* file, int region, int size, int extend, void volatile** out) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    *out = nullptr;
    if (const int code = handle.disk->verdict(Kind::memory); code != SQLITE_OK) return code;
    auto& memory = handle.disk->shared_memory_[*handle.name];
    memory.holders.insert(&handle);
    auto& regions = memory.regions;
    const auto index = static_cast<std::size_t>(region);
    while (regions.size() <= index && extend != 0)
      regions.push_back(std::make_unique<char[]>(static_cast<std::size_t>(size)));
    if (index < regions.size()) *out = regions[index].get();
    return SQLITE_OK;
  }

  static int memory_lock(sqlite3_file* file, int offset, int count, int flags) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    auto& memory = handle.disk->shared_memory_[*handle.name];
    const auto first = static_cast<std::size_t>(offset), last = first + static_cast<std::size_t>(count);
    if ((flags & SQLITE_SHM_UNLOCK) != 0) {
      for (auto at = first; at < last; ++at) {
        memory.shared[at].erase(&handle);
        if (memory.exclusive[at] == &handle) memory.exclusive[at] = nullptr;
      }
      return SQLITE_OK;
    }
    if (const int code = handle.disk->verdict(Kind::lock); code != SQLITE_OK) return code;
    for (auto at = first; at < last; ++at) {
      if (memory.exclusive[at] != nullptr && memory.exclusive[at] != &handle) return SQLITE_BUSY;
      const bool others = memory.shared[at].size() > memory.shared[at].count(&handle);
      if ((flags & SQLITE_SHM_EXCLUSIVE) != 0 && others) return SQLITE_BUSY;
    }
    for (auto at = first; at < last; ++at) {
      if ((flags & SQLITE_SHM_EXCLUSIVE) != 0)
        memory.exclusive[at] = &handle;
      else
        memory.shared[at].insert(&handle);
    }
    return SQLITE_OK;
  }

  static void memory_barrier(sqlite3_file* file) { const std::lock_guard guard(of(file).disk->mutex_); }

  static int memory_unmap(sqlite3_file* file, int) {
    Handle& handle = of(file);
    const std::lock_guard guard(handle.disk->mutex_);
    handle.disk->forget_memory_locks(handle);
    // As on Linux: who opens it after all have gone finds it empty, and recovers from the WAL.
    auto& memory = handle.disk->shared_memory_[*handle.name];
    memory.holders.erase(&handle);
    if (memory.holders.empty()) handle.disk->shared_memory_.erase(*handle.name);
    return SQLITE_OK;
  }

  void forget_memory_locks(const Handle& handle) {
    const auto memory = shared_memory_.find(*handle.name);
    if (memory == shared_memory_.end()) return;
    for (auto& holders : memory->second.shared) holders.erase(&handle);
    for (auto& holder : memory->second.exclusive)
      if (holder == &handle) holder = nullptr;
  }

  static const sqlite3_io_methods* methods() {
    static const sqlite3_io_methods table = {2,
                                             close,
                                             read,
                                             write,
                                             truncate,
                                             sync,
                                             file_size,
                                             lock,
                                             unlock,
                                             reserved,
                                             control,
                                             sector_size,
                                             characteristics,
                                             memory_map,
                                             memory_lock,
                                             memory_barrier,
                                             memory_unmap,
                                             nullptr,
                                             nullptr};
    return &table;
  }

  const std::string name_;
  sqlite3_vfs* base_ = nullptr;
  sqlite3_vfs vfs_{};
  mutable std::mutex mutex_;
  LossyDisk disk_;
  std::map<std::string, FileLock> locks_;
  std::map<std::string, SharedMemory> shared_memory_;
  std::mt19937_64 random_{4711};
  FaultPlan fault_;
  std::atomic<std::uint64_t> changes_ = 0, calls_ = 0, writes_ = 0, syncs_ = 0, stop_at_ = 0,
                             stop_at_sync_ = 0;
  std::atomic<bool> struck_ = false, full_ = false, read_only_ = false, off_ = false;
};

}  // namespace tallystick::faults
