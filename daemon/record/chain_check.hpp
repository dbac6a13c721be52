// Recomputing the hashes of entries as they stand in the file.
#pragma once

#include <optional>

#include "daemon/record/chain.hpp"
#include "daemon/record/sqlite.hpp"

namespace tallystick::record {

/// The columns of `entry` in hash order, for a SELECT whose rows row_hash takes.
const std::string& entry_select();
/// Hash of the row that `row` stands on, over the columns before `hash`, each by the type that it is stored
/// with.
Hash row_hash(ChainHash& chain, const Statement& row);
/// The columns of `branch` in hash order, and the hash of such a row.
inline constexpr const char* branch_select =
    "number, journal, parent, parent_seq, parent_hash, who, why, machine, breaks, utc_us";
Hash branch_row_hash(ChainHash& chain, const Statement& row);

/// The first place in the newest `most` entries of the branch that does not follow; nothing when all do.
/// Error "cannot_read".
Expected<std::optional<Error>> check_tail(Connection& connection, const Tail& tail, std::uint64_t most);

}  // namespace tallystick::record
