// The floors of the record's figures: bare loops over sqlite3_step, with nothing that a loop does not need.
#pragma once

#include <filesystem>
#include <functional>
#include <string>

#include "tools/bench/alternating.hpp"

namespace tallystick::bench {

/// All facts in the order of their keys, every column, as CSV or JSON Lines, in pieces. The number of rows.
std::uint64_t bare_export(const std::filesystem::path& journal, bool json,
                          const std::function<void(const std::string&)>& piece);

/// Steps through all entries and hashes each row's columns with nothing between them.
Work bare_chain_work(const std::filesystem::path& journal);

}  // namespace tallystick::bench
