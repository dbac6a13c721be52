// Commands about a lot and its run, and about editions.
#include "daemon/walk/draft.hpp"

namespace tallystick::walk {

namespace {

Done open_lot(Draft& draft) {
  LotState lot;
  for (const auto& [member, target] : std::initializer_list<std::pair<const char*, std::string*>>{
           {"lot_name", &lot.lot_name}, {"family", &lot.family}, {"size", &lot.size}}) {
    auto text = body_text(draft.input, member);
    if (!text) return tl::unexpected(text.error());
    if (text->empty()) return fail("wrong_shape", std::string("\"") + member + "\" is empty", "open_lot");
    *target = *text;
  }
  for (const auto& [member, target] : std::initializer_list<std::pair<const char*, std::string*>>{
           {"print_revision", &lot.print_revision}, {"heat", &lot.heat}, {"machine", &lot.machine},
           {"program", &lot.program}, {"place_on_machine", &lot.place_on_machine}, {"order", &lot.order}}) {
    auto text = body_text(draft.input, member, false);
    if (!text) return tl::unexpected(text.error());
    *target = *text;
  }
  const auto first = body_number(draft.input, "first", 1);
  const auto last = body_number(draft.input, "last");
  if (!first) return tl::unexpected(first.error());
  if (!last) return tl::unexpected(last.error());
  if (*first < 1 || *last < *first || *last - *first >= 1'000'000)
    return fail("wrong_shape", "serials " + std::to_string(*first) + " to " + std::to_string(*last), "first, last",
                "from 1, at most a million");
  lot.first = *first;
  lot.last = *last;
  const EditionState* newest = nullptr;
  for (const auto& [sha, edition] : draft.states.editions) {
    if (edition.withdrawn || edition.family != lot.family || edition.size != lot.size) continue;
    if (!lot.print_revision.empty() && edition.print_revision != lot.print_revision) continue;
    if (!newest || newest->number < edition.number) newest = &edition;
  }
  if (!newest)
    return fail("no_edition", "no edition is published for " + lot.family + " " + lot.size +
                (lot.print_revision.empty() ? "" : " at print revision " + lot.print_revision), "size", "the lead publishes one");
  lot.print_revision = newest->print_revision;
  lot.part_number = newest->part_number;
  for (const auto& [key, open] : draft.states.lots)
    if (open.lot_name == lot.lot_name && open.family == lot.family && open.size == lot.size)
      return fail("refused", "lot " + lot.lot_name + " of " + lot.size + (open.closed_utc.empty() ? " is open already" : " was closed: its name is taken"), key, "choose it, or another name");
  // A new lot is a new setup.
  lot.need = "first_part";
  lot.then_release = true;
  draft.open_lot(std::move(lot));
  draft.out.what = "lot_opened";
  draft.about_lot = "this";
  if (const auto bench = draft.states.benches.find(draft.input.bench); bench != draft.states.benches.end())
    draft.person = bench->second.person;
  return {};
}

Expected<LotDraft*> lot_of(Draft& draft) {
  const auto key = body_text(draft.input, "lot");
  if (!key) return tl::unexpected(key.error());
  if (!draft.states.lots.contains(*key)) return fail("unknown_lot", "no open lot " + *key, "lot");
  draft.about_lot = *key;
  auto& lot = draft.lot(*key);
  if (!lot.state.closed_utc.empty()) return fail("not_now", "lot " + lot.state.lot_name + " was closed", "lot");
  return &lot;
}

Done run_change(Draft& draft) {
  auto lot = lot_of(draft);
  if (!lot) return tl::unexpected(lot.error());
  const auto change = body_text(draft.input, "change");
  const auto person = body_text(draft.input, "person");
  if (!change) return tl::unexpected(change.error());
  if (!person) return tl::unexpected(person.error());
  if (person->empty()) return fail("wrong_shape", "a run change needs a name", "person");
  const RunChangeRule* rule = nullptr;
  for (const auto& known : draft.context.words->run_changes)
    if (known.change == *change) rule = &known;
  if (!rule) return fail("unknown_change", "no run change \"" + *change + "\" in the configuration", "change");
  auto& state = (*lot)->state;
  if (rule->follows == "features_named") {
    const auto* features = draft.input.body.if_contains("features");
    if (!features || !features->is_array() || features->as_array().empty())
      return fail("wrong_shape", "a " + *change + " names the features that it touches", "features");
    for (const auto& feature : features->as_array()) {
      if (!feature.is_string()) return fail("wrong_shape", "a feature's key must be a text", "features");
      state.named_features.emplace_back(feature.as_string());
    }
  } else if (rule->follows == "first_part" || rule->follows == "first_part_and_release") {
    state.need = "first_part";
    state.then_release = rule->follows == "first_part_and_release";
  }
  for (const auto& [member, target] : std::initializer_list<std::pair<const char*, std::string*>>{
           {"machine", &state.machine}, {"program", &state.program}, {"heat", &state.heat},
           {"place_on_machine", &state.place_on_machine}}) {
    const auto text = body_text(draft.input, member, false);
    if (!text) return tl::unexpected(text.error());
    if (!text->empty()) *target = *text;
  }
  state.run_change = *change;
  draft.person = *person;
  draft.out.what = "run_changed";
  draft.out.why = rule->follows;
  return {};
}

Done run_release(Draft& draft) {
  auto lot = lot_of(draft);
  if (!lot) return tl::unexpected(lot.error());
  const auto person = body_text(draft.input, "person");
  if (!person) return tl::unexpected(person.error());
  auto& state = (*lot)->state;
  if (state.need != "release")
    return fail("not_now", state.need == "first_part" ? "no first part of this setup is good yet" : "this setup needs no release",
                draft.about_lot);
  if (person->empty()) return fail("wrong_shape", "a run release needs a name", "person");
  if (*person == state.first_part_by)
    return fail("refused", "the setup is released by a person other than the one who measured the first part (" +
                state.first_part_by + ")", "person");
  state.need.clear();
  draft.person = *person;
  draft.out.what = "run_released";
  draft.out.tone = "moved";
  // Whoever waits for it goes on at once.
  for (const auto& [key, walk] : draft.states.walks) {
    if (walk.lot != draft.about_lot || !walk.standing.hold || walk.standing.hold->kind != "setup_not_released") continue;
    auto& waiting = draft.walk(key);
    if (!waiting.edition) continue;
    waiting.state.standing.hold.reset();
    begin_next_part(draft, waiting, false);
  }
  return {};
}

Done publish(Draft& draft) {
  const auto family = body_text(draft.input, "family");
  const auto person = body_text(draft.input, "person");
  const auto reason = body_text(draft.input, "reason");
  if (!family) return tl::unexpected(family.error());
  if (!person) return tl::unexpected(person.error());
  if (!reason) return tl::unexpected(reason.error());
  if (person->empty() || reason->empty()) return fail("wrong_shape", "publishing needs a person and a reason", "publish");
  boost::json::array published, unchanged;
  bool known = false;
  for (const auto& candidate : *draft.context.candidates) {
    if (candidate.edition.family != *family) continue;
    known = true;
    checklist::Edition edition = candidate.edition;
    edition.number = 0;
    const std::string content = checklist::sha256_hex(checklist::to_json_text(edition));
    const EditionState* newest = nullptr;
    std::int64_t number = 0;   // counted within family and size, whatever the print revision
    for (const auto& [sha, state] : draft.states.editions)
      if (state.family == edition.family && state.size == edition.size) {
        number = std::max(number, state.number);
        if (state.print_revision == edition.print_revision && (!newest || newest->number < state.number)) newest = &state;
      }
    for (const auto& [sha, state] : draft.out.editions)
      if (state.size == edition.size) number = std::max(number, state.number);
    if (newest && !newest->withdrawn && newest->content_sha == content) {
      unchanged.emplace_back(edition.size);
      continue;
    }
    edition.number = number + 1;
    const std::string bytes = checklist::to_json_text(edition);
    EditionState state{checklist::sha256_hex(bytes), edition.family, edition.size, edition.print_revision,
                       edition.part_number, edition.number, content, false};
    draft.attachments.push_back({state.sha, "application/json", bytes});
    if (candidate.drawing) draft.attachments.push_back(*candidate.drawing);
    published.push_back({{"size", edition.size}, {"print_revision", edition.print_revision}, {"number", edition.number}, {"edition", state.sha}});
    draft.out.editions[state.sha] = std::move(state);
  }
  if (!known)
    return fail("unknown_family", "no family \"" + *family + "\" works out in the configuration", "family", "run tallystick check");
  draft.person = *person;
  draft.out.what = published.empty() ? "nothing_changed" : "published";
  draft.out.why = *reason;
  draft.out.answer = {{"published", published}, {"unchanged", unchanged}};
  return {};
}

Done withdraw(Draft& draft) {
  const auto sha = body_text(draft.input, "edition");
  const auto person = body_text(draft.input, "person");
  const auto reason = body_text(draft.input, "reason");
  if (!sha) return tl::unexpected(sha.error());
  if (!person) return tl::unexpected(person.error());
  if (!reason) return tl::unexpected(reason.error());
  const auto known = draft.states.editions.find(*sha);
  if (known == draft.states.editions.end()) return fail("unknown_edition", "no edition " + *sha, "edition");
  if (known->second.withdrawn) return fail("not_now", "that edition was withdrawn already", *sha);
  EditionState state = known->second;
  state.withdrawn = true;
  draft.out.editions[*sha] = state;
  for (const auto& [key, walk] : draft.states.walks) {
    if (walk.edition != *sha) continue;
    auto& touched = draft.walk(key);
    Hold hold;
    hold.kind = "edition_withdrawn";
    hold.hard = true;
    touched.state.standing.hold = hold;
  }
  draft.person = *person;
  draft.out.what = "withdrawn";
  draft.out.why = *reason;
  return {};
}

}  // namespace

Done decide_lot_command(Draft& draft) {
  const auto& kind = draft.input.kind;
  if (kind == "open_lot") return open_lot(draft);
  if (kind == "run_change") return run_change(draft);
  return run_release(draft);
}

Done decide_edition_command(Draft& draft) { return draft.input.kind == "publish" ? publish(draft) : withdraw(draft); }

}  // namespace tallystick::walk
