#include "daemon/checklist/edition.hpp"

#include <openssl/evp.h>

#include <array>
#include <optional>

#include "daemon/measure/json_mirror.hpp"

namespace tallystick::checklist {

std::string to_json_text(const Edition& edition) { return mirror::text(edition); }

Expected<Edition> edition_from(std::string_view json) {
  // Not strict: an edition kept by a later release may carry members that this one does not know.
  auto edition = mirror::parse<Edition>(json);
  if (!edition) {
    auto error = edition.error();
    error.where = error.where.empty() ? "edition" : "edition, " + error.where;
    return tl::unexpected(std::move(error));
  }
  if (edition->format != 1)
    return fail("newer_format", "edition format " + std::to_string(edition->format) + ", known is 1",
                "edition", "read it with the release that wrote it");
  return edition;
}

std::string sha256_hex(std::string_view bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int size = 0;
  // Fails only when OpenSSL has no SHA-256 or no memory: no digest then, and nothing that compares equal to
  // one.
  if (EVP_Digest(bytes.data(), bytes.size(), digest.data(), &size, EVP_sha256(), nullptr) != 1) return {};
  constexpr char digits[] = "0123456789abcdef";
  std::string out;
  out.reserve(std::size_t{2} * size);
  for (unsigned int i = 0; i < size; ++i) {
    out += digits[digest[i] >> 4U];
    out += digits[digest[i] & 15U];
  }
  return out;
}

Expected<Limits> limits_of(const Feature& feature) {
  const auto unit = Unit::named(feature.unit);
  const auto named = [&](Error error) {
    error.where = "feature " + feature.key + (error.where.empty() ? "" : ", " + error.where);
    return tl::unexpected(std::move(error));
  };
  if (!unit) return named(unit.error());
  const auto value = [&](const std::string& text) -> Expected<std::optional<Quantity>> {
    if (text.empty()) return std::optional<Quantity>{};
    auto quantity = Quantity::parse(text, *unit);
    if (!quantity) return tl::unexpected(quantity.error());
    return std::optional<Quantity>{*quantity};
  };
  // What is not judged by itself is only held to be plausible.
  const auto lower = value(feature.unjudged ? feature.plausible_lower : feature.lower);
  if (!lower) return named(lower.error());
  const auto upper = value(feature.unjudged ? feature.plausible_upper : feature.upper);
  if (!upper) return named(upper.error());
  const auto nominal = value(feature.nominal);
  if (!nominal) return named(nominal.error());
  // A nominal may lie outside its limits (32 p6), so it is not held against them here: that was the family's
  // check.
  auto limits = Limits::direct(*lower, *upper);
  if (!limits) return named(limits.error());
  limits->nominal = *nominal;
  return limits;
}

}  // namespace tallystick::checklist
