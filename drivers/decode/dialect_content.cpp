// The part of DialectReader that is about a frame's inside: value, columns, unit, status, checksum.
#include <algorithm>

#include "drivers/decode/dialect_reader.hpp"

namespace tallystick::decode {

void DialectReader::read_value() {
  auto fields = section("value");
  value_line_ = fields.line("pattern");
  source_.pattern = fields.text("pattern").value_or("");
  if (fields.has("pattern") && source_.pattern.empty())
    fields.fault("wrong_value", "value.pattern is empty", "write the shape of a frame, or use [columns]",
                 "pattern");
  const auto mark = fields.text("decimal_mark").value_or(".");
  if (mark != "." && mark != ",")
    fields.fault("wrong_value", "value.decimal_mark is \"" + mark + "\"", "write \".\" or \",\"",
                 "decimal_mark");
  else
    source_.number.mark = mark.front();
  source_.number.implied_decimals = static_cast<int>(fields.whole("implied_decimals", 0, 12).value_or(0));
  source_.number.exponent = fields.flag("exponent").value_or(false);
  source_.no_value = fields.texts("no_value");
  if (source_.number.implied_decimals > 0 && (fields.has("decimal_mark") || source_.number.exponent)) {
    fields.fault("contradiction", "value.implied_decimals stands beside a decimal mark or an exponent",
                 "a number has its decimals either way, not both: leave one out", "implied_decimals");
  }
  for (const auto& [unit, count] : fields.wholes("decimals_by_unit", 0, 12)) {
    if (const auto known = Unit::named(unit))
      source_.decimals_by_unit.emplace(unit, static_cast<int>(count));
    else
      fields.fault("unknown_unit", known.error().what, "use a unit of the table, for instance mm or in",
                   "decimals_by_unit");
  }
  if (fields.has("decimals_by_unit") && fields.has("decimal_mark"))
    fields.fault("contradiction", "value.decimals_by_unit stands beside a decimal mark",
                 "a number has its decimals either way, not both: leave one out", "decimals_by_unit");
  const bool columns = root_.has("columns"), binary = root_.has("binary"),
             numbers = root_.has("numbers");
  const int places = (fields.has("pattern") ? 1 : 0) + (columns ? 1 : 0) + (binary ? 1 : 0);
  if (numbers && places > 0)
    fields.fault("contradiction", "[numbers] stands beside value.pattern, [columns] or [binary]",
                 "leave all but one out: each says where the value stands");
  if (numbers && (fields.has("decimal_mark") || fields.has("implied_decimals") || fields.has("exponent")))
    fields.fault("contradiction", "[numbers] says itself how numbers are written",
                 "leave decimal_mark, implied_decimals and exponent out");
  if (places == 0 && !numbers) {
    fields.fault("missing_key", "there is neither value.pattern nor [columns] nor [binary] nor [numbers]",
                 "say where in a frame the value stands");
  } else if (places > 1 && fields.has("pattern")) {
    fields.fault("contradiction",
                 std::string("value.pattern and ") + (columns ? "[columns]" : "[binary]") +
                     " both say where the value stands",
                 "leave one out", "pattern");
  } else if (places > 1) {
    root_.fault("contradiction", "[columns] and [binary] both say where the value stands", "leave one out",
                "binary");
  }
  for (const auto key : {"decimal_mark", "exponent"}) {
    if (binary && fields.has(key))
      fields.fault("contradiction", "value." + std::string(key) + " means nothing where the value is binary",
                   "leave it out", key);
  }
  fields.finish();
}

void DialectReader::read_columns() {
  auto fields = section("columns");
  if (!fields.present()) return;
  Columns columns;
  columns.width = static_cast<std::size_t>(fields.whole("width", 1, 4096).value_or(0));
  if (!fields.has("width"))
    fields.fault("missing_key", "columns.width is missing",
                 "write how many characters stand between the marks of a frame");
  std::vector<int> taken(columns.width, 0);
  const auto occupy = [&](TomlFields& place, std::size_t at, std::size_t width) {
    if (at + width > columns.width) {
      place.fault("contradiction", "a column reaches beyond columns.width",
                  "columns are counted from 1; make width larger or the column narrower");
      return;
    }
    for (std::size_t i = at; i < at + width; ++i) {
      if (taken[i]++ == 1)
        place.fault("contradiction", "two columns share place " + std::to_string(i + 1), "move one of them");
    }
  };
  for (std::size_t i = 0; i < field_count; ++i) {
    auto place = fields.table(field_names[i]);
    if (!place) continue;
    const auto at = place->whole("at", 1, 4096);
    const auto width = place->whole("width", 1, 4096);
    for (const auto key : {"at", "width"}) {
      if (!place->has(key))
        place->fault("missing_key", std::string(key) + " is missing",
                     "write { at = 1, width = 8 }, counted from 1");
    }
    place->finish();
    if (!at || !width) continue;
    columns.parts[i] = Column{static_cast<std::size_t>(*at) - 1, static_cast<std::size_t>(*width)};
    occupy(*place, columns.parts[i]->at, columns.parts[i]->width);
  }
  for (auto& place : fields.tables("literal")) {
    const auto at = place.whole("at", 1, 4096);
    const auto text = place.bytes("text");
    if (!at || !text || text->empty())
      place.fault("missing_key", "a literal needs at and text",
                  "write { at = 1, text = \"ID\" }, counted from 1");
    place.finish();
    if (!at || !text) continue;
    columns.literals.emplace_back(static_cast<std::size_t>(*at) - 1, *text);
    occupy(place, columns.literals.back().first, text->size());
  }
  if (!fields.has("value"))
    fields.fault("missing_key", "columns.value is missing", "write value = { at = 1, width = 8 }");
  fields.finish();
  source_.columns = std::move(columns);
}

void DialectReader::read_numbers() {
  auto fields = section("numbers");
  if (!fields.present()) return;
  NumericReply reply;
  reply.fields = static_cast<int>(fields.whole("fields", 1, 64).value_or(1));
  reply.field = static_cast<int>(fields.whole("field", 1, 64).value_or(1));
  if (reply.field > reply.fields)
    fields.fault("contradiction", "numbers.field is " + std::to_string(reply.field) + " of " +
                                      std::to_string(reply.fields),
                 "fields says how many numbers a reply has, field which of them is the value", "field");
  suffix_ = fields.word("suffix", {"none", "optional", "needed"}).value_or("none");
  if (suffix_ == "needed" && root_.has("unit") && section("unit").has("unit"))
    fields.fault("contradiction", "the suffix is needed, and unit.unit would stand in for it",
                 "write suffix = \"optional\", or leave unit.unit out", "suffix");
  fields.finish();
  source_.numbers = reply;
  source_.number.exponent = true;
}

void DialectReader::read_unit() {
  auto fields = section("unit");
  const auto named = [&](const std::string& text, std::string_view key) -> std::optional<Unit> {
    const auto unit = Unit::named(text);
    if (unit) return *unit;
    fields.fault(
        "unknown_unit", unit.error().what,
        unit.error().hint.empty() ? "use a unit of the table, for instance mm or in" : unit.error().hint,
        key);
    return std::nullopt;
  };
  if (const auto text = fields.text("unit")) dialect_.unit = named(*text, "unit");
  dialect_.unit_in_frame = fields.flag("in_frame").value_or(false);
  for (const auto& [text, unit] : fields.map("map")) {
    if (const auto known = named(unit, "map")) source_.unit_map.emplace(text, *known);
  }
  const bool suffix = suffix_ != "none";
  if (suffix) {
    dialect_.unit_in_frame = true;
    for (const auto& one : unit_suffixes()) source_.unit_map.emplace(one.text, *Unit::named(one.unit));
  }
  if (!fields.has("unit") && (!dialect_.unit_in_frame || suffix_ == "optional")) {
    fields.fault("no_unit", "the dialect states no unit, and its frames carry none",
                 "write [unit] unit = \"mm\", or in_frame = true with a map");
  }
  if (dialect_.unit_in_frame && !fields.has("map") && !suffix)
    fields.fault("missing_key", "unit.map is missing",
                 "say what each unit text means: map = { \"mm\" = \"mm\" }", "in_frame");
  if (!dialect_.unit_in_frame && fields.has("map"))
    fields.fault("contradiction", "unit.map stands there, but in_frame is not true",
                 "write in_frame = true, or leave the map out", "map");
  fields.finish();
  source_.unit = dialect_.unit;
  source_.unit_in_frame = dialect_.unit_in_frame;
}

void DialectReader::read_status() {
  auto fields = section("status");
  for (const auto& [text, word] : fields.map("map")) {
    bool known = false;
    for (const auto status : {GaugeStatus::ok, GaugeStatus::low_battery, GaugeStatus::over_range,
                              GaugeStatus::under_range, GaugeStatus::error}) {
      if (name(status) != word) continue;
      source_.status_map.emplace(text, status);
      known = true;
    }
    if (known) continue;
    const auto meant = nearest(word, {"ok", "low_battery", "over_range", "under_range", "error"});
    fields.fault("wrong_value", "status \"" + text + "\" means \"" + word + "\"",
                 meant.empty() ? "the meanings are ok, low_battery, over_range, under_range and error"
                               : "did you mean \"" + meant + "\"?",
                 "map");
  }
  fields.finish();
}

void DialectReader::read_checksum() {
  auto fields = section("checksum");
  if (!fields.present()) return;
  Checksum checksum;
  const auto kind = fields.word("kind", {"sum", "sum_complement", "exclusive_or", "crc-8", "crc-16-modbus",
                                         "crc-16-xmodem", "crc-16-ccitt-false", "crc-32", "crc"});
  if (!fields.has("kind"))
    fields.fault("missing_key", "checksum.kind is missing",
                 "write sum, sum_complement, exclusive_or or a crc");
  checksum.kind = kind == "sum_complement"           ? ChecksumKind::sum_complement
                  : kind == "exclusive_or"           ? ChecksumKind::exclusive_or
                  : kind && kind->starts_with("crc") ? ChecksumKind::crc
                                                     : ChecksumKind::sum;
  source_.checksum = checksum;
  if (checksum.kind == ChecksumKind::crc) read_crc(fields, *kind);
  auto& placed = *source_.checksum;
  placed.written_as_hex = fields.word("written", {"hex", "raw"}).value_or("hex") == "hex";
  placed.low_byte_first =
      fields.word("byte_order", {"high_first", "low_first"}).value_or("high_first") == "low_first";
  placed.after_end = fields.word("place", {"before_end", "after_end"}).value_or("before_end") == "after_end";
  placed.marked_by = fields.bytes("marked_by").value_or("");
  placed.covers_start = fields.flag("covers_start").value_or(false);
  placed.covers_end = fields.flag("covers_end").value_or(false);
  const std::size_t takes = placed.width() + placed.marked_by.size();
  if (placed.after_end && dialect_.framing.after_end != takes) {
    fields.fault("contradiction",
                 "the checksum takes " + std::to_string(takes) +
                     " bytes behind the end, but frame.after_end is " +
                     std::to_string(dialect_.framing.after_end),
                 "write after_end = " + std::to_string(takes) + " in [frame]", "place");
  }
  if (!placed.after_end && dialect_.framing.after_end != 0) {
    fields.fault("contradiction", "frame.after_end leaves room that the checksum does not use",
                 "write place = \"after_end\", or leave frame.after_end out");
  }
  fields.finish();
}

void DialectReader::read_crc(TomlFields& fields, const std::string& kind) {
  CrcParameters crc;
  if (kind != "crc") {
    crc = crc_named(kind).value_or(crc);
  } else {
    crc.bits = static_cast<int>(fields.whole("bits", 8, 32).value_or(16));
    if (crc.bits % 8 != 0 || crc.bits == 24)
      fields.fault("wrong_value", "checksum.bits is " + std::to_string(crc.bits), "write 8, 16 or 32",
                   "bits");
    const auto number = [&](std::string_view key) {
      return static_cast<std::uint32_t>(fields.whole(key, 0, 0xFFFFFFFF).value_or(0));
    };
    crc.polynomial = number("polynomial");
    crc.initial = number("initial");
    crc.final_xor = number("final_xor");
    crc.reflect_in = fields.flag("reflect_in").value_or(false);
    crc.reflect_out = fields.flag("reflect_out").value_or(false);
    if (crc.polynomial == 0)
      fields.fault("missing_key", "checksum.polynomial is missing",
                   "write it in hex without its top bit: polynomial = 0x8005", "kind");
  }
  source_.checksum->crc = crc;
}

void DialectReader::compile() {
  source_.framing = dialect_.framing;
  const bool status_map = !source_.status_map.empty();
  if (source_.binary && source_.framing.by == CutBy::length) {
    const auto& framing = source_.framing;
    const auto& checksum = source_.checksum;
    const std::size_t around = framing.start.size() + framing.end.size() +
                               (checksum ? checksum->width() + checksum->marked_by.size() : 0);
    if (around + source_.binary->width != framing.length) {
      auto place = section("binary");
      place.fault("contradiction",
                  "frame.length is " + std::to_string(framing.length) +
                      ", but start, end and checksum take " + std::to_string(around) +
                      " bytes and binary.width is " + std::to_string(source_.binary->width),
                  "they must add up", "width");
      return;
    }
  }
  auto plan = Plan::compile(source_);
  if (!plan) {
    faults_.push_back({plan.error().code, plan.error().what, file_ + ":" + std::to_string(value_line_),
                       plan.error().hint.empty()
                           ? "see RE2's syntax; the pattern covers the frame without start, end and checksum"
                           : plan.error().hint});
    return;
  }
  dialect_.plan = *plan;
  dialect_.carries_channel = dialect_.plan->has(Field::channel);
  const auto stands_in = [&](Field field, bool wanted, std::string_view section_name, std::string_view what) {
    if (dialect_.plan->has(field) == wanted) return;
    auto place = section(section_name);
    const std::string part(field_names[static_cast<std::size_t>(field)]);
    if (wanted)
      place.fault("contradiction", std::string(what) + ", but nothing names a part \"" + part + "\"",
                  "add it, or leave this out");
    else
      faults_.push_back(
          {"contradiction", "a part \"" + part + "\" is named, but nothing says what its texts mean",
           file_ + ":" + std::to_string(value_line_), "add " + std::string(section_name) + ".map"});
  };
  stands_in(Field::unit, dialect_.unit_in_frame, "unit", "unit.in_frame is true");
  stands_in(Field::status, status_map, "status", "status.map stands there");
}

}  // namespace tallystick::decode
