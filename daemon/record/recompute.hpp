// Decides every result of a record anew, from the readings as they came: values, reductions, derived features, limits,
// verdicts. The chain says that nothing was changed; this says that what stands there follows from what was read.
#pragma once

#include <filesystem>
#include <functional>

#include "daemon/record/verify.hpp"

namespace tallystick::record {

struct RecomputeReport {
  std::vector<Finding> findings;  ///< the first thousand; codes: "reading_differs", "result_differs", "working_differs",
                                  ///< "sweep_differs", "edition_missing", "capture_missing", "cannot_work_out"
  std::uint64_t finding_count = 0;
  std::uint64_t readings = 0;     ///< readings behind results, held against what the gauges sent
  std::uint64_t results = 0;      ///< judged anew
  std::uint64_t derived = 0;      ///< of them worked out anew
  std::uint64_t sweeps = 0;       ///< figures worked out anew from the samples
  int rules = 0;                  ///< version of the rules that this release has
  int least_rules = 0, greatest_rules = 0;  ///< that decided what stands in the record; 0: nothing does
  bool stopped = false;

  bool sound() const { return finding_count == 0 && !stopped; }
};

struct RecomputeOptions {
  std::uint64_t events_a_read = 5000;
  std::function<bool(std::uint64_t done)> progress;  ///< false ends it
};

/// Goes over the current branch's path once. A value that was judged must be equal exactly; an unrounded double within
/// 1e-12 of it (relative). Memory: a line a reading that counted. Errors: as Reader::open_file.
Expected<RecomputeReport> recompute(const std::filesystem::path& journal, const RecomputeOptions& options = {},
                                    const std::string& vfs = {});

}  // namespace tallystick::record
