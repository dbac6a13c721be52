// Where a journal lies.
#pragma once

#include <filesystem>
#include <string>

namespace tallystick::record {

/// `data` holds journal.sqlite3, the lock file and the folder set-aside/. `head` is another folder (best on
/// another disk) that keeps how far the journal has come, so that a rolled-back data folder is noticed;
/// empty: a folder "head" beside `data`.
struct Place {
  std::filesystem::path data;
  std::filesystem::path head;
  std::string vfs;  ///< SQLite's file layer; empty: the machine's. Tests put their own here

  std::filesystem::path journal() const { return data / "journal.sqlite3"; }
  std::filesystem::path lock() const { return data / "lock"; }
  std::filesystem::path set_aside() const { return data / "set-aside"; }
  std::filesystem::path head_folder() const { return head.empty() ? data.parent_path() / "head" : head; }
  /// Named after the data folder, so that several data folders may share one head folder.
  std::filesystem::path head_file() const { return head_folder() / (data.filename().string() + ".json"); }
};

}  // namespace tallystick::record
