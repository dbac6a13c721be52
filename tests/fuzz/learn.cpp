// Any text as a recording; what is proposed must compile, and read every press as it was shown.
#include "drivers/learn/learn.hpp"

#include <cstdlib>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace tallystick;
  const auto recording = learn::read_recording({reinterpret_cast<const char*>(data), size}, "fuzz");
  if (!recording) {
    if (recording.error().empty()) std::abort();
    return 0;
  }
  const auto findings = learn::learn(*recording, {}, {"fuzz", "2026-11-25"});
  if (findings.proposals.empty() == findings.missing.empty()) std::abort();
  for (const auto& proposal : findings.proposals) {
    const auto dialect = read_dialect(proposal.toml, "fuzz");
    if (!dialect || proposal.read.size() != proposal.presses.size()) std::abort();
  }
  const auto again = learn::read_recording(learn::recording_text(*recording), "again");
  if (!again || again->presses.size() != recording->presses.size()) std::abort();
  return 0;
}
