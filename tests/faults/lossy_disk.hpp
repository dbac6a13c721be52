// A disk in memory that forgets what was not synced: the model under power_loss_vfs.hpp.
#pragma once

#include <algorithm>
#include <cstdint>
#include <map>
#include <memory>
#include <random>
#include <string>
#include <vector>

namespace tallystick::faults {

/// One write or truncation since the last sync.
struct Change {
  std::uint64_t offset = 0;
  std::string bytes;
  bool truncates = false;  ///< then `offset` is the new size
  bool doomed = false;  ///< a sync failed over it: a later sync reports success and still does not write it
};

inline void put(std::string& file, std::uint64_t offset, std::string_view bytes) {
  if (file.size() < offset + bytes.size()) file.resize(offset + bytes.size(), '\0');
  std::copy(bytes.begin(), bytes.end(), file.begin() + static_cast<std::ptrdiff_t>(offset));
}

inline void make(std::string& file, const Change& change) {
  if (change.truncates)
    file.resize(change.offset, '\0');
  else
    put(file, change.offset, change.bytes);
}

/// One file: how programs see it, what the platter holds, and what lies between.
struct LossyFile {
  std::string now, platter;
  std::vector<Change> changes;
  bool there = false;             ///< programs see it
  bool there_on_platter = false;  ///< its name was synced

  void change(Change one) {
    make(now, one);
    changes.push_back(std::move(one));
  }
  void sync() {
    for (const auto& one : changes)
      if (!one.doomed) make(platter, one);
    changes.clear();
    there_on_platter = true;
  }
  void sync_failed() {
    for (auto& one : changes) one.doomed = true;
  }
};

/// How a power loss treats what was not synced; chosen by the seed, so that each kind of damage comes up.
enum class Damage : std::uint8_t {
  nothing_kept,
  all_kept,
  first_ones_kept,
  some_sectors_kept,
  some_sectors_torn
};

class LossyDisk {
 public:
  static constexpr std::uint64_t sector = 512;

  LossyFile& file(const std::string& name) { return files_[name]; }
  LossyFile* find(const std::string& name) {
    const auto at = files_.find(name);
    return at == files_.end() || !at->second.there ? nullptr : &at->second;
  }
  void remove(const std::string& name, bool synced) {
    LossyFile& one = files_[name];
    one.there = false;
    one.now.clear();
    // An unlink that was not synced may be forgotten: the old bytes are then there again.
    if (synced) one = LossyFile{};
  }

  /// A folder was synced: names made and taken away are durable.
  void sync_names() {
    for (auto& [name, one] : files_) {
      if (one.there)
        one.there_on_platter = true;
      else
        one = LossyFile{};
    }
  }

  /// The machine stops: what programs see afterwards is the platter with some of the changes.
  void lose_power(std::mt19937_64& random) {
    for (auto& [name, one] : files_) {
      const auto damage = static_cast<Damage>(random() % 5);
      std::string left = one.platter;
      const std::size_t first = one.changes.empty() ? 0 : random() % (one.changes.size() + 1);
      for (std::size_t index = 0; index < one.changes.size(); ++index) {
        if (damage == Damage::nothing_kept) break;
        if (damage == Damage::first_ones_kept && index >= first) break;
        if (damage == Damage::all_kept || damage == Damage::first_ones_kept)
          make(left, one.changes[index]);
        else
          keep_some(left, one.changes[index], damage == Damage::some_sectors_torn, random);
      }
      const bool name_kept = one.there_on_platter || (one.there && random() % 2 == 0);
      one.there = name_kept;
      one.there_on_platter = name_kept;
      one.now = name_kept ? left : std::string();
      one.platter = one.now;
      one.changes.clear();
    }
  }

 private:
  static void keep_some(std::string& left, const Change& change, bool torn, std::mt19937_64& random) {
    if (change.truncates) {
      if (random() % 2 == 0) make(left, change);
      return;
    }
    for (std::uint64_t done = 0; done < change.bytes.size();) {
      const std::uint64_t at = change.offset + done;
      const std::uint64_t size = std::min<std::uint64_t>(sector - at % sector, change.bytes.size() - done);
      const auto piece = std::string_view(change.bytes).substr(done, size);
      if (random() % 2 == 0)
        put(left, at, piece);
      else if (torn && random() % 4 == 0)
        put(left, at, piece.substr(0, random() % (size + 1)));
      done += size;
    }
  }

  std::map<std::string, LossyFile> files_;
};

}  // namespace tallystick::faults
