#include "daemon/record/chain.hpp"

#include <openssl/evp.h>

#include <algorithm>
#include <bit>
#include <cstdlib>
#include <cstring>

namespace tallystick::record {

// Fetching the digest and making the context cost more than hashing a short row: both are done once.
struct ChainHash::Digest {
  EVP_MD* kind = EVP_MD_fetch(nullptr, "SHA256", nullptr);
  EVP_MD_CTX* context = EVP_MD_CTX_new();
  ~Digest() {
    EVP_MD_CTX_free(context);
    EVP_MD_free(kind);
  }
};

namespace {
void to_big_endian(std::uint64_t value, char* out) {
  if constexpr (std::endian::native == std::endian::little) value = __builtin_bswap64(value);
  std::memcpy(out, &value, sizeof value);
}
}  // namespace

Hash hash_from(std::string_view bytes) {
  Hash out{};
  std::copy_n(bytes.begin(), std::min(bytes.size(), out.size()), out.begin());
  return out;
}

std::string hex(std::string_view bytes) {
  static constexpr char digits[] = "0123456789abcdef";
  std::string out;
  out.reserve(bytes.size() * 2);
  for (const char byte : bytes) {
    const auto value = static_cast<unsigned char>(byte);
    out.push_back(digits[value >> 4]);
    out.push_back(digits[value & 0xf]);
  }
  return out;
}

ChainHash::ChainHash() : digest_(std::make_unique<Digest>()) {}
ChainHash::~ChainHash() = default;

void ChainHash::head(char type, std::uint64_t length) {
  char bytes[9] = {type};
  to_big_endian(length, bytes + 1);
  input_.append(bytes, sizeof bytes);
}

void ChainHash::add(std::int64_t value) {
  char bytes[17] = {1, 0, 0, 0, 0, 0, 0, 0, 8};
  to_big_endian(static_cast<std::uint64_t>(value), bytes + 9);
  input_.append(bytes, sizeof bytes);
}

void ChainHash::add_text(std::string_view text) {
  head(2, text.size());
  input_.append(text);
}

void ChainHash::add_blob(std::string_view blob) {
  head(3, blob.size());
  input_.append(blob);
}

Hash ChainHash::plain(std::string_view bytes) {
  Hash out{};
  unsigned int size = 0;
  // Only a machine without memory, or a broken OpenSSL, gets here with a failure: no hash may then be
  // believed.
  if (EVP_DigestInit_ex2(digest_->context, digest_->kind, nullptr) != 1 ||
      EVP_DigestUpdate(digest_->context, bytes.data(), bytes.size()) != 1 ||
      EVP_DigestFinal_ex(digest_->context, out.data(), &size) != 1)
    std::abort();
  return out;
}

Hash ChainHash::finish() {
  const Hash out = plain(input_);
  last_size_ = input_.size();
  input_.clear();
  return out;
}

std::string attachment_names(const Proposal& proposal) {
  std::string out;
  for (const auto& attachment : proposal.attachments) {
    if (!out.empty()) out.push_back(' ');
    out += attachment.sha256;
  }
  return out;
}

Hash entry_hash(ChainHash& chain, const Proposal& proposal, std::string_view attachments, const Tail& tail) {
  chain.add(tail.branch);
  chain.add(static_cast<std::int64_t>(tail.seq + 1));
  chain.add_text(proposal.kind);
  chain.add(proposal.version);
  chain.add(proposal.rules);
  chain.add(proposal.stamp.utc_us);
  chain.add(proposal.stamp.steady_ns);
  chain.add_text(proposal.stamp.boot);
  chain.add_text(proposal.stamp.clock);
  chain.add_text_or_null(proposal.bench);
  chain.add_text_or_null(proposal.walk);
  chain.add_text_or_null(proposal.person);
  chain.add_text_or_null(proposal.lot);
  chain.add_text_or_null(proposal.gauge);
  chain.add_text(proposal.input);
  if (proposal.raw.empty())
    chain.add_null();
  else
    chain.add_blob(proposal.raw);
  chain.add_text(proposal.outcome);
  chain.add_text_or_null(attachments);
  chain.add_blob(bytes(tail.hash));
  return chain.finish();
}

Hash branch_hash(ChainHash& chain, const BranchRow& row) {
  chain.add(row.number);
  chain.add_text(row.journal);
  if (row.parent == 0) {
    chain.add_null();
    chain.add_null();
    chain.add_null();
  } else {
    chain.add(row.parent);
    chain.add(row.parent_seq);
    chain.add_blob(row.parent_hash);
  }
  chain.add_text(row.who);
  chain.add_text(row.why);
  chain.add_text_or_null(row.machine);
  chain.add_text_or_null(row.breaks);
  chain.add(row.utc_us);
  return chain.finish();
}

}  // namespace tallystick::record
