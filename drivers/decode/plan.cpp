#include "drivers/decode/plan.hpp"

#include <re2/re2.h>

#include <algorithm>

namespace tallystick::decode {

namespace {

constexpr int most_groups = 12;

[[gnu::cold, gnu::noinline]] Refusal not_mine(const char* detail) { return {RefusalReason::not_mine, detail}; }
[[gnu::cold, gnu::noinline]] Refusal not_mine(const std::string& detail) { return {RefusalReason::not_mine, detail}; }

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

/// std::string_view's own comparison goes through memcmp, which costs more than the few bytes of a mark.
bool same_bytes(const char* a, std::string_view b) {
  for (std::size_t i = 0; i < b.size(); ++i) {
    if (a[i] != b[i]) return false;
  }
  return true;
}
bool same_text(std::string_view a, std::string_view b) {
  return a.size() == b.size() && same_bytes(a.data(), b);
}

/// Suffixes may be written in either case.
bool same_letters(std::string_view capitals, std::string_view found) {
  return std::equal(capitals.begin(), capitals.end(), found.begin(), found.end(), [](char want, char got) {
    return want == got || (got >= 'a' && got <= 'z' && want == static_cast<char>(got - 'a' + 'A'));
  });
}

/// Characters that a message can show.
std::string shown(std::string_view text) {
  std::string out;
  for (const char c : text.substr(0, 40)) out += (c >= ' ' && c <= '~') ? c : '?';
  return "\"" + out + "\"";
}

std::string shown_checksum(const Checksum& checksum, std::string_view bytes) {
  if (checksum.written_as_hex) return shown(bytes);
  static constexpr char digits[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : bytes) {
    out += digits[static_cast<unsigned char>(c) >> 4U];
    out += digits[static_cast<unsigned char>(c) & 0xFU];
  }
  return out;
}

}  // namespace

Decoded Parsed::decoded() const {
  Decoded out;
  out.quantity = quantity;
  out.value_text = std::string(value.view());
  out.unit_in_frame = unit_in_frame;
  if (channel) out.channel.emplace(*channel);
  out.status = status;
  return out;
}

Plan::Plan(PlanSource source) : source_(std::move(source)) {
  if (source_.unit) own_scale_.emplace(scale_of(*source_.unit));
  for (const auto& [text, unit] : source_.unit_map) scales_.emplace_back(text, scale_of(unit));
  if (source_.binary) binary_.emplace(*source_.binary);
  status_of_byte_.fill(-1);
  statuses_of_one_byte_ = std::all_of(source_.status_map.begin(), source_.status_map.end(),
                                      [](const auto& entry) { return entry.first.size() == 1; });
  if (statuses_of_one_byte_)
    for (const auto& [text, status] : source_.status_map)
      status_of_byte_[static_cast<unsigned char>(text.front())] = static_cast<std::int8_t>(status);
}

Plan::Scale Plan::scale_of(Unit unit) const {
  const auto own = source_.decimals_by_unit.find(std::string(unit.name()));
  return {UnitScale(unit),
          own == source_.decimals_by_unit.end() ? source_.number.implied_decimals : own->second};
}

Plan::~Plan() = default;

Expected<std::shared_ptr<const Plan>> Plan::compile(PlanSource source) {
  std::shared_ptr<Plan> plan(new Plan(std::move(source)));
  if (const auto& columns = plan->source_.columns) {
    std::vector<bool> blank(columns->width, true);
    const auto occupy = [&](std::size_t at, std::size_t width) {
      for (std::size_t i = at; i < std::min(at + width, columns->width); ++i) blank[i] = false;
    };
    for (std::size_t i = 0; i < field_count; ++i) {
      if (!columns->parts[i]) continue;
      plan->named_[i] = true;
      occupy(columns->parts[i]->at, columns->parts[i]->width);
      const auto field = static_cast<Field>(i);
      // A status may be a blank; a sign place too. The others are padded with blanks.
      const std::size_t at = std::min(columns->parts[i]->at, columns->width);
      plan->columns_.push_back({field, field != Field::status && field != Field::sign,
                                {at, std::min(columns->parts[i]->width, columns->width - at)}});
    }
    for (const auto& [at, text] : columns->literals) occupy(at, text.size());
    for (std::size_t i = 0; i < blank.size(); ++i) {
      if (blank[i]) plan->blanks_.push_back(i);
    }
    return plan;
  }
  if (plan->binary_) {
    for (std::size_t i = 0; i < field_count; ++i) plan->named_[i] = plan->binary_->has(static_cast<Field>(i));
    return plan;
  }
  if (plan->source_.numbers) {
    plan->named_[static_cast<std::size_t>(Field::value)] = true;
    plan->named_[static_cast<std::size_t>(Field::unit)] = plan->source_.unit_in_frame;
    return plan;
  }
  re2::RE2::Options options(re2::RE2::Latin1);
  options.set_log_errors(false);
  options.set_max_mem(1 << 20);
  auto expression = std::make_unique<re2::RE2>(plan->source_.pattern, options);
  if (!expression->ok()) return fail("bad_pattern", "not a pattern: " + expression->error());
  if (expression->NumberOfCapturingGroups() > most_groups) return fail("bad_pattern", "more than 12 groups");
  plan->expression_groups_.resize(static_cast<std::size_t>(expression->NumberOfCapturingGroups()));
  for (const auto& [group, index] : expression->NamedCapturingGroups()) {
    const auto field = field_named(group);
    if (!field)
      return fail(
          "bad_pattern", "the pattern names a group \"" + group + "\"", {},
          "the groups are value, sign, unit, channel and status; write (?:...) for one without a name");
    plan->expression_groups_[static_cast<std::size_t>(index) - 1] = field;
    plan->named_[static_cast<std::size_t>(*field)] = true;
  }
  if (!plan->has(Field::value))
    return fail("bad_pattern", "the pattern has no group \"value\"", {},
                "write (?P<value>...) round the digits");
  plan->scan_ = ScanPlan::compile(plan->source_.pattern);
  if (!plan->scan_) plan->expression_ = std::move(expression);
  return plan;
}

bool Plan::has(Field field) const { return named_[static_cast<std::size_t>(field)]; }

std::optional<Refusal> Plan::find_body(std::string_view frame, std::string_view& body) const {
  const Framing& framing = source_.framing;
  const std::size_t around = framing.start.size() + framing.end.size() + framing.after_end;
  if (frame.size() < around) return Refusal{RefusalReason::incomplete, "shorter than its own marks"};
  const std::string_view without_tail = frame.substr(0, frame.size() - framing.after_end);
  if (!same_bytes(frame.data(), framing.start) ||
      !same_bytes(without_tail.data() + without_tail.size() - framing.end.size(), framing.end))
    return not_mine("start or end bytes are others");
  body = without_tail.substr(framing.start.size(), frame.size() - around);
  if (!source_.checksum) return std::nullopt;
  const Checksum& checksum = *source_.checksum;
  const std::size_t taken = checksum.width() + checksum.marked_by.size();
  std::string_view tail;
  if (checksum.after_end) {
    tail = frame.substr(frame.size() - framing.after_end);
  } else {
    if (body.size() < taken) return not_mine("too short for its checksum");
    tail = body.substr(body.size() - taken);
    body.remove_suffix(taken);
  }
  if (!tail.starts_with(checksum.marked_by)) return not_mine("no checksum where it should stand");
  tail.remove_prefix(checksum.marked_by.size());
  const std::size_t from = checksum.covers_start ? 0 : framing.start.size();
  std::string covered(frame.substr(from, framing.start.size() - from + body.size()));
  if (checksum.covers_end) covered += framing.end;
  if (checksum.matches(covered, tail)) return std::nullopt;
  return Refusal{RefusalReason::bad_checksum, "checksum " + shown_checksum(checksum, tail) + ", expected " +
                                                  shown_checksum(checksum, checksum.of(covered))};
}

bool Plan::find_columns(std::string_view body, Fields& fields) const {
  const Columns& columns = *source_.columns;
  if (body.size() != columns.width) return false;
  for (const std::size_t at : blanks_) {
    if (body[at] != ' ') return false;
  }
  for (const auto& [at, text] : columns.literals) {
    if (!same_bytes(body.data() + at, text)) return false;
  }
  for (const auto& [field, padded, column] : columns_) {
    const std::string_view part(body.data() + column.at, column.width);   // inside: the width is the body's
    fields[field] = padded ? trimmed(part) : part;
  }
  return true;
}

bool Plan::find_in_numbers(std::string_view body, Fields& fields) const {
  std::string_view number, suffix;
  if (!find_number(*source_.numbers, body, number, suffix)) return false;
  if (!source_.unit_in_frame && !suffix.empty()) return false;
  fields[Field::value] = number;
  if (!suffix.empty()) fields[Field::unit] = suffix;
  return true;
}

bool Plan::find_by_expression(std::string_view body, Fields& fields) const {
  std::array<re2::StringPiece, most_groups> pieces;
  std::array<re2::RE2::Arg, most_groups> arguments;
  std::array<const re2::RE2::Arg*, most_groups> pointers{};
  const std::size_t groups = expression_groups_.size();
  for (std::size_t i = 0; i < groups; ++i) {
    arguments[i] = re2::RE2::Arg(&pieces[i]);
    pointers[i] = &arguments[i];
  }
  if (!re2::RE2::FullMatchN(re2::StringPiece(body.data(), body.size()), *expression_, pointers.data(),
                            static_cast<int>(groups))) {
    return false;
  }
  for (std::size_t i = 0; i < groups; ++i) {
    if (expression_groups_[i])
      fields[*expression_groups_[i]] = std::string_view(pieces[i].data(), pieces[i].size());
  }
  return true;
}

bool Plan::find_fields(std::string_view body, Fields& fields) const {
  if (source_.columns) return find_columns(body, fields);
  if (source_.numbers) return find_in_numbers(body, fields);
  return scan_ ? scan_->match(body, fields) : find_by_expression(body, fields);
}

std::optional<Refusal> Plan::read_status(const Fields& fields, Parsed& out) const {
  out.status = GaugeStatus::ok;
  if (!fields.has(Field::status)) return std::nullopt;
  const std::string_view said = fields[Field::status];
  bool known = false;
  if (statuses_of_one_byte_ && said.size() == 1) [[likely]] {
    const auto status = status_of_byte_[static_cast<unsigned char>(said.front())];
    known = status >= 0;
    if (known) out.status = static_cast<GaugeStatus>(status);
  } else {
    const auto entry = source_.status_map.find(std::string(said));
    known = entry != source_.status_map.end();
    if (known) out.status = entry->second;
  }
  if (!known) return Refusal{RefusalReason::unknown_status, "status " + shown(said) + " stands in no map"};
  switch (out.status) {
    case GaugeStatus::ok:
    case GaugeStatus::low_battery:
      return std::nullopt;
    case GaugeStatus::over_range:
      return Refusal{RefusalReason::out_of_range, "the gauge says: over range"};
    case GaugeStatus::under_range:
      return Refusal{RefusalReason::out_of_range, "the gauge says: under range"};
    case GaugeStatus::error:
      break;
  }
  return Refusal{RefusalReason::not_a_number, "the gauge says: error"};
}

const Plan::Scale* Plan::scale_for(const Fields& fields, Parsed& out) const {
  out.unit_in_frame = false;
  if (!source_.unit_in_frame || !fields.has(Field::unit) || fields[Field::unit].empty())
    return own_scale_ ? &*own_scale_ : nullptr;
  const auto known = std::find_if(scales_.begin(), scales_.end(), [&](const auto& entry) {
    return source_.numbers ? same_letters(entry.first, fields[Field::unit])
                           : same_text(entry.first, fields[Field::unit]);
  });
  if (known == scales_.end()) return nullptr;
  out.unit_in_frame = true;
  return &known->second;
}

/// The usual frame: its marks stand, it carries no checksum. Says nothing about others.
bool Plan::find_plain_body(std::string_view frame, std::string_view& body) const {
  const Framing& framing = source_.framing;
  const std::size_t around = framing.start.size() + framing.end.size();
  if (source_.checksum || framing.after_end != 0 || frame.size() <= around) return false;
  if (!same_bytes(frame.data(), framing.start) ||
      !same_bytes(frame.data() + frame.size() - framing.end.size(), framing.end))
    return false;
  body = {frame.data() + framing.start.size(), frame.size() - around};
  return true;
}

/// The usual status: one byte that stands for a value that may be taken. Says nothing about others.
bool Plan::find_plain_status(const Fields& fields, GaugeStatus& status) const {
  const std::string_view said = fields[Field::status];
  if (!statuses_of_one_byte_ || said.size() != 1) return false;
  const auto known = status_of_byte_[static_cast<unsigned char>(said.front())];
  if (known < 0) return false;
  status = static_cast<GaugeStatus>(known);
  return status == GaugeStatus::ok || status == GaugeStatus::low_battery;
}

std::optional<Refusal> Plan::read(std::string_view frame, Parsed& out) const {
  std::string_view body;
  if (!find_plain_body(frame, body)) [[unlikely]] {
    if (auto refusal = find_body(frame, body)) return refusal;
  }
  if (body.empty()) return not_mine("an empty frame");
  Fields fields;
  BinaryBody::Scratch scratch;
  if (binary_) {
    if (auto refusal = binary_->read(body, fields, scratch)) return refusal;
  } else if (!find_fields(body, fields)) {
    return not_mine("not the shape of this dialect");
  }
  if (!fields.has(Field::status)) {
    out.status = GaugeStatus::ok;
  } else if (!find_plain_status(fields, out.status)) [[unlikely]] {
    if (auto refusal = read_status(fields, out)) return refusal;
  }
  const std::string_view value = fields[Field::value];
  if ((binary_ && binary_->means_no_value(body)) ||
      std::find(source_.no_value.begin(), source_.no_value.end(), value) != source_.no_value.end()) {
    return Refusal{RefusalReason::out_of_range,
                   "the gauge sent " + shown(value) + ", which means that it has no value"};
  }
  if (source_.numbers) {
    if (const NoNumber none = no_number(value); none != NoNumber::it_is_one)
      return Refusal{RefusalReason::out_of_range,
                     "the gauge sent " + shown(value) + ", which means " +
                         (none == NoNumber::infinity ? "infinity: over range" : "not a number")};
  }
  const Scale* const scale = scale_for(fields, out);
  if (scale == nullptr) {
    return Refusal{RefusalReason::unknown_unit,
                   fields.has(Field::unit) ? "unit " + shown(fields[Field::unit]) + " stands in no map"
                                           : "no unit in the frame"};
  }
  Number number;
  NumberForm form = source_.number;
  form.implied_decimals = scratch.places >= 0 ? scratch.places : scale->implied_decimals;
  if (auto refusal = read_number(fields[Field::sign], value, form, number)) return refusal;
  if (auto refusal = scale->scale.quantity(number, out.quantity)) return refusal;
  out.value = number.plain;
  out.channel.reset();
  if (fields.has(Field::channel)) out.channel = fields[Field::channel];
  if (out.channel &&
      !std::all_of(out.channel->begin(), out.channel->end(), [](char c) { return c > ' ' && c <= '~'; })) {
    return not_mine("the channel " + shown(*out.channel) + " is no plain text");
  }
  return std::nullopt;
}

}  // namespace tallystick::decode
