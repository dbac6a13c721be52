// Key events to a layout, a burst, a dialect. Input: one byte for layout, ends and dialect, then records of
// three bytes: how much time passes, what happens (down, up, held, dropped, unplugged), which key.
#include <cstdlib>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/key_burst.hpp"
#include "all_dialects.hpp"

using namespace tallystick;
using namespace tallystick::decode;

namespace {

KeyBurst::Rules rules_of(std::uint8_t choice) {
  static const auto& names = KeyLayout::names();
  KeyBurst::Rules rules{*KeyLayout::named(names[choice % names.size()]), {}, {}, {}, {}, {}, {}};
  rules.enter = (choice & 4U) != 0;
  rules.tab = (choice & 8U) != 0;
  rules.gap = !rules.enter && !rules.tab;
  rules.gap_ns = 100'000'000;
  rules.longest = 64;
  if ((choice & 16U) != 0) rules.own = {59, 183};
  return rules;
}

Stamp at(std::int64_t ns) { return {ns / 1000, ns, "fuzz", "trusted"}; }

/// What must hold of every burst, and what a dialect makes of it.
void look(const KeyBurst::Rules& rules, const std::vector<KeyOutcome>& outcomes, Decoder& decoder) {
  for (const auto& outcome : outcomes) {
    if (const auto* press = std::get_if<KeyPress>(&outcome)) {
      if (!rules.own.contains(press->code)) std::abort();
      continue;
    }
    const auto& burst = std::get<Burst>(outcome);
    if (burst.text.size() > rules.longest || burst.first_ns > burst.last_ns) std::abort();
    if (burst.text.empty() && !burst.refusal) std::abort();
    if (burst.end == BurstEnd::gap && !rules.gap && !burst.refusal) std::abort();
    if (burst.refusal) continue;
    std::string out;
    const auto take = [&](const std::vector<DecodeEvent>& events) {
      for (const auto& event : events) out += event.frame.bytes;
    };
    take(decoder.gap(at(burst.first_ns)));
    take(decoder.feed(burst.text + "\r", at(burst.last_ns)));
    take(decoder.gap(at(burst.last_ns)));
    if (decoder.dialect().port.warm_up.count() == 0 && out != burst.text + "\r") std::abort();
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const auto dialects = fuzz::all_dialects();
  if (size < 2) return 0;
  const auto rules = rules_of(data[0]);
  Decoder decoder(dialects[data[1] % dialects.size()]);
  KeyBurst burst(rules);
  std::int64_t now = 1'000'000'000;
  burst.opened(now);
  for (std::size_t n = 2; n + 2 < size; n += 3) {
    now += std::int64_t{data[n]} * data[n] * 10'000;  // up to 0.65 s
    const std::uint8_t what = data[n + 1];
    // Beyond the keys of keyboards there are others, and numbers that mean nothing.
    const auto code = static_cast<std::uint16_t>(what < 240 ? data[n + 2] : data[n + 2] * 3);
    KeyEvent event{KeyEvent::key_type, code, what % 3, now};
    if (what == 255) event = {KeyEvent::report_type, KeyEvent::dropped_code, 0, now};
    if (what == 254) event.type = 4;
    if (what == 253) {
      look(rules, burst.cut_off(), decoder);
      if (!burst.cut_off().empty()) std::abort();
      burst.opened(now);
      continue;
    }
    look(rules, burst.feed(event), decoder);
    if (what == 252) look(rules, burst.poll(now), decoder);
  }
  look(rules, burst.poll(now + rules.gap_ns), decoder);
  if (burst.wake_at()) std::abort();
  return 0;
}
