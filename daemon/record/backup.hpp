// Copies of a journal: making one while the daemon writes, and beginning a new data folder from one.
#pragma once

#include <filesystem>
#include <string>

#include "daemon/measure/stamp.hpp"
#include "daemon/record/verify.hpp"

namespace tallystick::record {

struct Copied {
  std::filesystem::path file;
  Key last;              ///< newest event of the copy
  VerifyReport checked;  ///< of the copy, after it was made
};

/// One snapshot, in one step, as one file; marked, so that it begins a new branch when it is opened to write;
/// on the disk and proven when this returns. The daemon may write meanwhile. Blocking for as long as the copy
/// takes. Errors: as Reader::open_file, "exists" (nothing is overwritten), "cannot_write".
Expected<Copied> backup(const std::filesystem::path& journal, const std::filesystem::path& to,
                        const Stamp& now);

/// Makes the data folder `to` from a backup. The first time that it is opened to write a new branch begins,
/// whose row names `who` and `why`. Errors: as Reader::open_file, "exists" (the folder has a journal
/// already), "not_sound" (the backup was found changed or damaged: nothing was made), "locked",
/// "network_share", "cannot_write".
Expected<Copied> restore(const std::filesystem::path& backup, const Place& to, const std::string& who,
                         const std::string& why);

}  // namespace tallystick::record
