// What becomes of parts and lots: a held part's disposition, the lot's closing, the release to an order.
#include <algorithm>

#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

constexpr std::int64_t most_at_once = 5000;
constexpr std::size_t most_named = 5;

const std::vector<std::string> dispositions = {"rework", "scrap", "use as is", "return to supplier"};

bool wants_disposition(const Claim& claim) {
  return (claim.end == "rejected" || claim.end == "undecided" || claim.end == "incomplete") &&
         claim.disposition.empty();
}

Expected<LotDraft*> lot_named(Draft& draft) {
  const auto key = body_text(draft.input, "lot");
  if (!key) return tl::unexpected(key.error());
  if (!draft.states.lots.contains(*key)) return fail("unknown_lot", "no lot " + *key, "lot");
  draft.about_lot = *key;
  return &draft.lot(*key);
}

Done take_person(Draft& draft) {
  const auto person = body_text(draft.input, "person");
  if (!person) return tl::unexpected(person.error());
  if (person->empty()) return fail("wrong_shape", "this needs a name", "person");
  draft.person = *person;
  return {};
}

/// A fact about a whole part, as far as the lot alone can tell it.
Fact about_part(const Draft& draft, const LotState& lot, std::int64_t serial, const Claim& claim,
                const std::string& kind) {
  Fact out;
  out.kind = kind;
  out.family = lot.family;
  out.size = lot.size;
  out.print_revision = lot.print_revision;
  out.part_number = lot.part_number;
  out.lot = lot.key;
  out.lot_name = lot.lot_name;
  out.part = claim.part;
  out.serial = std::to_string(serial);
  out.bench = claim.bench;
  out.walk = claim.walk;
  out.person = draft.person;
  out.person_how = "name stated, not signed in";
  out.heat = lot.heat;
  out.measured_utc = utc_text(draft.now().utc_us);
  out.clock = draft.now().clock;
  return out;
}

Done disposition(Draft& draft) {
  auto lot = lot_named(draft);
  if (!lot) return tl::unexpected(lot.error());
  if (auto person = take_person(draft); !person) return person;
  const auto serial = body_number(draft.input, "serial");
  const auto word = body_text(draft.input, "disposition");
  const auto reason = body_text(draft.input, "reason");
  const auto note = body_text(draft.input, "note", false);
  if (!serial) return tl::unexpected(serial.error());
  if (!word) return tl::unexpected(word.error());
  if (!reason) return tl::unexpected(reason.error());
  if (!note) return tl::unexpected(note.error());
  if (std::find(dispositions.begin(), dispositions.end(), *word) == dispositions.end())
    return fail("wrong_shape", "no disposition " + quoted(*word), "disposition",
                "rework, scrap, use as is or return to supplier");
  const auto& reasons = draft.context.words->disposition_reasons;
  if (std::find(reasons.begin(), reasons.end(), *reason) == reasons.end())
    return fail("unknown_reason", quoted(*reason) + " is not in the shop's list of reasons", "reason",
                "one of [reasons] disposition of the configuration");
  std::size_t found = 0;
  for (const auto& [key, claim] : claims_of(**lot, *serial)) {
    if (!wants_disposition(claim)) continue;
    ++found;
    Fact fact = about_part(draft, (*lot)->state, *serial, claim, "disposition");
    fact.reason = *word + ": " + *reason;
    fact.note = *note;
    draft.out.facts.push_back(std::move(fact));
    auto& written = (*lot)->write(key);
    written.disposition = *word;
    if (*word != "rework") continue;
    written.end = "given_back";  // reworked, it is another part: measured anew as a whole
    written.again.clear();
    written.before.clear();
    written.rejected_by_decision.clear();
  }
  if (found == 0)
    return fail(
        "not_now", "part " + std::to_string(*serial) + " of lot " + (*lot)->state.lot_name + " is not held",
        "serial", "a disposition is for a part that was rejected, or of which steps were passed over");
  draft.out.what = "disposed";
  draft.out.why = *word;
  return {};
}

bool stands_suspect(const Draft& draft, const std::string& lot, std::int64_t serial) {
  return std::any_of(draft.states.suspects.begin(), draft.states.suspects.end(), [&](const auto& each) {
    return each.second.lot == lot && each.second.serial == serial;
  });
}

/// Why a part may neither be released nor closed away; "": nothing stands in the way.
std::string open_question(const Draft& draft, const LotDraft& lot, std::int64_t serial,
                          const std::vector<std::pair<std::string, Claim>>& claims) {
  if (stands_suspect(draft, lot.state.key, serial)) return "a result stands suspect";
  for (const auto& [key, claim] : claims) {
    if (claim.end.empty()) return "it is being measured";
    if (claim.end == "given_back" && (!claim.again.empty() || claim.disposition == "rework"))
      return "it waits to be measured again";
    if (wants_disposition(claim))
      return claim.end != "incomplete" ? "it is held and has no disposition"
                                       : "steps were passed over and it has no disposition";
  }
  return {};
}

bool leaves_here(const std::vector<std::pair<std::string, Claim>>& claims) {
  bool measured = false;
  for (const auto& [key, claim] : claims) {
    if (claim.disposition == "scrap" || claim.disposition == "return to supplier") return false;
    measured = measured || claim.end != "given_back";
  }
  return measured;
}

struct Questions {
  std::size_t count = 0;
  std::string text;
  void add(std::int64_t serial, const std::string& why) {
    if (++count <= most_named)
      text += (text.empty() ? "" : "; ") + ("part " + std::to_string(serial) + ": " + why);
  }
  Done refuse(const LotDraft& lot, const std::string& remedy) const {
    return fail("parts_open",
                "of lot " + lot.state.lot_name + " " + text +
                    (count > most_named ? ", and " + std::to_string(count - most_named) + " more" : ""),
                "lot", remedy);
  }
};

Done release(Draft& draft) {
  auto lot = lot_named(draft);
  if (!lot) return tl::unexpected(lot.error());
  if (auto person = take_person(draft); !person) return person;
  auto& state = (*lot)->state;
  const auto first = body_number(draft.input, "first", state.first);
  const auto last = body_number(draft.input, "last", state.last);
  const auto order = body_text(draft.input, "order", false);
  const auto note = body_text(draft.input, "note", false);
  if (!first) return tl::unexpected(first.error());
  if (!last) return tl::unexpected(last.error());
  if (!order) return tl::unexpected(order.error());
  if (!note) return tl::unexpected(note.error());
  if (*first < state.first || *last > state.last || *first > *last)
    return fail(
        "wrong_shape",
        "serials " + std::to_string(*first) + " to " + std::to_string(*last) + " do not lie in the lot's",
        "first");
  if (*last - *first >= most_at_once)
    return fail("wrong_shape", "more than " + std::to_string(most_at_once) + " parts at once", "first, last",
                "release them in ranges");
  Questions questions;
  std::vector<std::pair<std::int64_t, std::vector<std::pair<std::string, Claim>>>> leaving;
  std::int64_t before = 0, stay = 0;
  for (auto serial = *first; serial <= *last; ++serial) {
    auto claims = claims_of(**lot, serial);
    if (claims.empty()) continue;
    if (!released_at(**lot, serial).empty())
      ++before;
    else if (const auto why = open_question(draft, **lot, serial, claims); !why.empty())
      questions.add(serial, why);
    else if (leaves_here(claims))
      leaving.emplace_back(serial, std::move(claims));
    else
      ++stay;
  }
  if (questions.count > 0)
    return questions.refuse(**lot, "decide about these first, or name other serials with first and last");
  if (leaving.empty())
    return fail("not_now",
                "no part to release among serials " + std::to_string(*first) + " to " + std::to_string(*last),
                "first", std::to_string(before) + " were released before, " + std::to_string(stay) + " stay");
  const std::string to = order->empty() ? state.order : *order;
  for (const auto& [serial, claims] : leaving) {
    Fact fact = about_part(draft, state, serial, claims.back().second, "release");
    fact.reason = to;
    fact.note = *note;
    draft.out.facts.push_back(std::move(fact));
    for (const auto& [key, claim] : claims) {
      auto& written = (*lot)->write(key);
      written.released_utc = utc_text(draft.now().utc_us);
      written.order = to;
    }
  }
  draft.out.what = "released";
  draft.out.answer = {
      {"released", leaving.size()}, {"order", to}, {"released_before", before}, {"stay", stay}};
  return {};
}

Done close_lot(Draft& draft) {
  auto lot = lot_named(draft);
  if (!lot) return tl::unexpected(lot.error());
  if (auto person = take_person(draft); !person) return person;
  auto& state = (*lot)->state;
  if (!state.closed_utc.empty())
    return fail("not_now", "lot " + state.lot_name + " was closed at " + state.closed_utc, "lot");
  for (const auto& [key, walk] : draft.states.walks)
    if (walk.lot == state.key)
      return fail("not_now", "a walk over lot " + state.lot_name + " is going on at " + walk.bench, "lot",
                  "end it first");
  Questions questions;
  std::int64_t measured = 0;
  for (const auto& [key, claim] : (*lot)->before->claims) {
    const auto serial = std::strtoll(key.c_str() + key.rfind('/') + 1, nullptr, 10);
    if (claim.end != "given_back") ++measured;
    if (const auto why = open_question(draft, **lot, serial, {{key, claim}}); !why.empty())
      questions.add(serial, why);
  }
  if (questions.count > 0) return questions.refuse(**lot, "decide about these first");
  state.closed_utc = utc_text(draft.now().utc_us);
  state.closed_by = draft.person;
  draft.out.what = "lot_closed";
  draft.out.answer = {{"measured", measured}};
  return {};
}

}  // namespace

Done decide_fate_command(Draft& draft) {
  if (draft.input.kind == "disposition") return disposition(draft);
  if (draft.input.kind == "release") return release(draft);
  return close_lot(draft);
}

}  // namespace tallystick::walk
