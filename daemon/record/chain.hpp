// The hash chain: SHA-256 over an entry's columns, each with its type and length, ending with the hash
// before.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/walk/event.hpp"

namespace tallystick::record {

using Hash = std::array<unsigned char, 32>;
inline std::string_view bytes(const Hash& hash) {
  return {reinterpret_cast<const char*>(hash.data()), hash.size()};
}
/// Precondition: 32 bytes.
Hash hash_from(std::string_view bytes);
std::string hex(std::string_view bytes);

/// Builds the input of one hash: each value as a type byte (0 null, 1 integer, 2 text, 3 blob), its length in
/// 8 bytes big-endian, its bytes (an integer: 8 bytes, two's complement, big-endian). Reusable; not
/// thread-safe.
class ChainHash {
 public:
  ChainHash();
  ~ChainHash();
  ChainHash(const ChainHash&) = delete;
  ChainHash& operator=(const ChainHash&) = delete;

  void add_null() { head(0, 0); }
  void add(std::int64_t value);
  void add_text(std::string_view text);
  void add_blob(std::string_view blob);
  /// Null where `text` is empty: "there is none".
  void add_text_or_null(std::string_view text) { text.empty() ? add_null() : add_text(text); }
  /// The hash of what was added since the last call.
  Hash finish();
  /// Bytes that the last `finish` hashed.
  std::size_t last_size() const { return last_size_; }
  /// SHA-256 of plain bytes.
  Hash plain(std::string_view bytes);

 private:
  void head(char type, std::uint64_t length);
  struct Digest;
  std::unique_ptr<Digest> digest_;
  std::string input_;
  std::size_t last_size_ = 0;
};

/// Columns of `entry` in hash order, without `hash` itself.
inline constexpr std::array<std::string_view, 20> entry_columns = {
    "branch", "seq",    "kind", "version", "rules", "utc_us", "steady_ns", "boot",        "clock",    "bench",
    "walk",   "person", "lot",  "gauge",   "input", "raw",    "outcome",   "attachments", "previous", "hash"};

/// The place of a new entry in the chain.
struct Tail {
  std::int64_t branch = 0;
  std::string journal;
  std::uint64_t seq = 0;  ///< of the newest entry; 0: the branch has none
  Hash hash{};            ///< of the newest entry; of the branch's row where it has none
};
/// SHA-256 names of the attachments in the order of the proposal, blank between: the column `attachments`.
std::string attachment_names(const Proposal& proposal);
/// Hash of the entry that `proposal` becomes after `tail`.
Hash entry_hash(ChainHash& chain, const Proposal& proposal, std::string_view attachments, const Tail& tail);

/// The row of `branch`, in hash order.
struct BranchRow {
  std::int64_t number = 0;
  std::string journal;
  std::int64_t parent = 0;  ///< 0 (NULL): none, then parent_seq and parent_hash are NULL too
  std::int64_t parent_seq = 0;
  std::string parent_hash;
  std::string who, why;
  std::string machine;  ///< empty (NULL): not known
  std::string breaks;   ///< keys of the breaks that a person confirmed, blank between; empty: NULL
  std::int64_t utc_us = 0;
};
/// What the first entry of the branch has as `previous`: so the chain covers the branch's row.
Hash branch_hash(ChainHash& chain, const BranchRow& row);

}  // namespace tallystick::record
