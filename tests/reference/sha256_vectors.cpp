// SHA-256 against published vectors, both where files get their names and where the chain is made.
//
// Sources: FIPS 180-4 (NIST, 2015), examples published with it ("SHA256.pdf"): "abc" and the 448-bit message;
// the million "a" from FIPS 180-2, appendix B.3. NIST's additional vectors for SHA-256 (csrc.nist.gov,
// "SHA2_Additional.pdf") for 0xbd, 0xc98c8e55, and runs of 0x00, 0x41 and 0x55. CAVP, SHA256ShortMsg.rsp, for
// the empty message and 0xd3. Messages are from memory; every digest was computed again with Python's
// hashlib.
#include <doctest/doctest.h>

#include "daemon/checklist/edition.hpp"
#include "daemon/record/chain.hpp"

using namespace tallystick;
using namespace tallystick::record;

namespace {

struct Vector {
  std::string message;
  const char* digest;
};

std::vector<Vector> vectors() {
  return {
      {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
      {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
      {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
       "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
      {std::string(1000000, 'a'), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
      {"\xd3", "28969cdfa74a12c82f3bad960b0b000aca2ac329deea5c2328ebc6f2ba9802c1"},
      {"\xbd", "68325720aabd7c82f30f554b313d0570c95accbb7dc4b5aae11204c08ffe732b"},
      {"\xc9\x8c\x8e\x55", "7abc22c0ae5af26ce93dbb94433a0e0b2e119d014f8e7f65bd56c61ccccd9504"},
      // 55, 56, 57 and 64 bytes: on either side of where the padding needs a second block.
      {std::string(55, '\0'), "02779466cdec163811d078815c633f21901413081449002f24aa3e80f0b88ef7"},
      {std::string(56, '\0'), "d4817aa5497628e7c77e6b606107042bbba3130888c5f47a375e6179be789fbb"},
      {std::string(57, '\0'), "65a16cb7861335d5ace3c60718b5052e44660726da4cd13bb745381b235a1785"},
      {std::string(64, '\0'), "f5a5fd42d16a20302798ef6ed309979b43003d2320d9f0e8ea9831a92759fb4b"},
      {std::string(1000, '\0'), "541b3e9daa09b20bf85fa273e5cbd3e80185aa4ec298e765db87742b70138a53"},
      {std::string(1000, 'A'), "c2e686823489ced2017f6059b8b239318b6364f6dcd835d0a519105a1eadd6e4"},
      {std::string(1005, 'U'), "f4d62ddec0f3dd90ea1380fa16a5ff8dc4c54b21740650f24afc4120903552b0"},
      {std::string(1000000, '\0'), "d29751f2649b32ff572b5e0a9f541ea660a50f94ff0beedfb0b692b924cc8025"},
  };
}

}  // namespace

TEST_CASE("SHA-256 gives the published digests") {
  ChainHash one_for_all;  // its context is used again and again
  for (const auto& [message, digest] : vectors()) {
    CAPTURE(message.size());
    CHECK(checklist::sha256_hex(message) == digest);
    CHECK(hex(bytes(one_for_all.plain(message))) == digest);
  }
}

// Computed with Python's hashlib from the description in FORMAT.md (tests/record/verifier.py, `digest`).
TEST_CASE("the chain's hashes are those that FORMAT.md describes") {
  ChainHash chain;
  BranchRow first;
  first.number = 1;
  first.journal = "0123456789abcdef0123456789abcdef";
  first.who = "daemon";
  first.why = "the journal was created";
  first.utc_us = 1'795'600'000'000'000;
  const Hash branch = branch_hash(chain, first);
  CHECK(hex(bytes(branch)) == "95411a8e61fc4a11f7161d4aa9af409adcc594d88459de014e866762f9ae617a");

  Proposal event;
  event.kind = "reading";
  event.version = 1;
  event.rules = 2;
  event.stamp = {1'795'600'000'000'001, -5, "boot", "trusted"};
  event.bench = "bench-1";
  event.person = "Größe";
  event.gauge = "gauge-1";
  event.input = "{}";
  event.raw = std::string("\x00\xff\r", 3);
  event.outcome = R"({"facts":[]})";
  const Hash entry = entry_hash(chain, event, "", Tail{1, first.journal, 0, branch});
  CHECK(hex(bytes(entry)) == "48e1c871610315cb0d7365ed1e05bc45b6a62d5239576fb34fb5f0a436145af8");

  const BranchRow second{2,          std::string(32, 'f'), 1,     7, std::string(bytes(branch)), "it",
                         "restored", std::string(64, 'a'), "x-1", 0};
  CHECK(hex(bytes(branch_hash(chain, second))) ==
        "b0a47c2a824687cd5ea285694f2442288a44edeb67d89b10bcb189eebeacb44e");
}
