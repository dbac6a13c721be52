#include "drivers/decode/dialect_reader.hpp"

#include <algorithm>
#include <charconv>

namespace tallystick::decode {

namespace {

using std::chrono::milliseconds;
using std::chrono::nanoseconds;

bool is_identifier(std::string_view text) {
  return !text.empty() && text.size() <= 40 && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
  });
}

milliseconds whole_milliseconds(std::int64_t nanoseconds_count) {
  return std::chrono::ceil<milliseconds>(nanoseconds(nanoseconds_count));
}

}  // namespace

std::uint32_t line_of(const Error& fault) {
  const auto colon = fault.where.rfind(':');
  std::uint32_t line = 0;
  if (colon != std::string::npos) {
    std::from_chars(fault.where.data() + colon + 1, fault.where.data() + fault.where.size(), line);
  }
  return line;
}

DialectReader::DialectReader(const toml::table& root, std::string_view file, Faults& faults)
    : root_(&root, "", file, faults), file_(file), faults_(faults) {}

Dialect DialectReader::read() {
  read_head();
  read_port();
  read_frame();
  read_value();
  read_columns();
  read_unit();
  read_status();
  read_checksum();
  read_talk();
  read_ask();
  root_.finish();
  if (faults_.empty()) compile();
  return dialect_;
}

TomlFields DialectReader::section(std::string_view key) {
  if (auto found = root_.table(key)) return *found;
  return TomlFields(nullptr, std::string(key), file_, faults_, root_.line(key));
}

void DialectReader::read_head() {
  const auto name = root_.text("name");
  if (!name) {
    if (!root_.has("name"))
      root_.fault("missing_key", "the dialect has no name", "write name = \"...\" as its first line");
  } else if (!is_identifier(*name)) {
    root_.fault("wrong_value", "name is \"" + *name + "\"", "use 1 to 40 of a-z, 0-9 and -", "name");
  } else {
    dialect_.name = *name;
  }
  dialect_.about = root_.text("about").value_or("");
  dialect_.same_shape_as = root_.texts("same_shape_as");
}

void DialectReader::read_port() {
  auto fields = section("port");
  auto& port = dialect_.port;
  port.baud = static_cast<int>(fields.whole("baud", 50, 4'000'000).value_or(9600));
  port.data_bits = static_cast<int>(fields.whole("data_bits", 5, 8).value_or(8));
  port.stop_bits = static_cast<int>(fields.whole("stop_bits", 1, 2).value_or(1));
  const auto parity = fields.word("parity", {"none", "even", "odd", "mark", "space"}).value_or("none");
  port.parity = parity == "even"    ? Parity::even
                : parity == "odd"   ? Parity::odd
                : parity == "mark"  ? Parity::mark
                : parity == "space" ? Parity::space
                                    : Parity::none;
  const auto flow = fields.word("flow", {"none", "rts-cts", "xon-xoff"}).value_or("none");
  port.flow = flow == "rts-cts"    ? FlowControl::rts_cts
              : flow == "xon-xoff" ? FlowControl::xon_xoff
                                   : FlowControl::none;
  const auto signal = [&](std::string_view key) {
    const auto word = fields.word(key, {"leave", "assert", "deassert"}).value_or("leave");
    return word == "assert"     ? LineSignal::assert_it
           : word == "deassert" ? LineSignal::deassert
                                : LineSignal::leave;
  };
  port.rts = signal("rts");
  port.dtr = signal("dtr");
  port.warm_up = whole_milliseconds(fields.milliseconds("warm_up_ms", 0, 60'000).value_or(0));
  if (port.flow == FlowControl::rts_cts && port.rts != LineSignal::leave) {
    fields.fault("contradiction", "port.rts is set, but flow control rts-cts drives that line",
                 "leave one of the two out", "rts");
  }
  fields.finish();
}

void DialectReader::read_frame() {
  auto fields = section("frame");
  auto& framing = dialect_.framing;
  if (!fields.present()) {
    root_.fault("missing_key", "there is no [frame]",
                "say how a frame is cut: [frame] cut_by = \"terminator\" terminator = \"\\r\"");
  }
  const auto by = fields.word("cut_by", {"terminator", "length", "start_end", "idle_gap"});
  if (fields.present() && !by && !fields.has("cut_by")) {
    fields.fault("missing_key", "frame.cut_by is missing", "write terminator, length, start_end or idle_gap");
  }
  framing.by = by == "length"      ? CutBy::length
               : by == "start_end" ? CutBy::start_end
               : by == "idle_gap"  ? CutBy::idle_gap
                                   : CutBy::terminator;
  const auto terminator = fields.bytes("terminator");
  const auto end = fields.bytes("end");
  framing.start = fields.bytes("start").value_or("");
  framing.end = terminator ? *terminator : end.value_or("");
  framing.length = static_cast<std::size_t>(fields.whole("length", 1, 4096).value_or(0));
  framing.after_end = static_cast<std::size_t>(fields.whole("after_end", 1, 64).value_or(0));
  framing.longest = static_cast<std::size_t>(
      fields.whole("longest", 1, 4096)
          .value_or(framing.by == CutBy::length
                        ? static_cast<std::int64_t>(std::max<std::size_t>(framing.length, 1))
                        : 256));
  read_times(fields);
  if (fields.present() && by) check_frame(fields);
  fields.finish();
}

void DialectReader::check_frame(TomlFields& fields) {
  const auto& framing = dialect_.framing;
  const auto needs = [&](std::string_view key, std::string_view why) {
    if (!fields.has(key))
      fields.fault("missing_key", "frame." + std::string(key) + " is missing", std::string(why), "cut_by");
  };
  const auto has_no_place = [&](std::string_view key) {
    if (fields.has(key))
      fields.fault(
          "contradiction",
          "frame." + std::string(key) + " means nothing where frames are cut by " + *fields.text("cut_by"),
          "leave it out", key);
  };
  const auto not_empty = [&](std::string_view key, const std::string& bytes) {
    if (fields.has(key) && bytes.empty())
      fields.fault("wrong_value", "frame." + std::string(key) + " is empty",
                   "write the bytes, for instance \"\\r\"", key);
  };
  switch (framing.by) {
    case CutBy::terminator:
      needs("terminator", "write the bytes that close a frame, for instance \"\\r\\n\"");
      not_empty("terminator", framing.end);
      for (const auto key : {"start", "end", "length", "after_end"}) has_no_place(key);
      break;
    case CutBy::start_end:
      needs("start", "write the bytes that open a frame");
      needs("end", "write the bytes that close a frame");
      not_empty("start", framing.start);
      not_empty("end", framing.end);
      for (const auto key : {"terminator", "length"}) has_no_place(key);
      break;
    case CutBy::length:
      needs("length", "write how many bytes a whole frame has");
      for (const auto key : {"terminator", "after_end"}) has_no_place(key);
      if (framing.length > framing.longest)
        fields.fault("contradiction", "frame.longest is less than frame.length", "leave longest out",
                     "longest");
      break;
    case CutBy::idle_gap:
      for (const auto key : {"terminator", "start", "end", "length", "after_end"}) has_no_place(key);
      break;
  }
  if (framing.start.size() + framing.end.size() + framing.after_end >=
      std::max(framing.longest, framing.length)) {
    fields.fault("contradiction", "a frame has no room for anything between its marks",
                 "make it longer, or the marks shorter");
  }
}

void DialectReader::read_times(TomlFields& fields) {
  auto& framing = dialect_.framing;
  const nanoseconds character = dialect_.port.character_time();
  framing.idle_gap =
      nanoseconds(fields.milliseconds("idle_gap_ms", 0, 60'000).value_or(character.count() * 7 / 2));
  const std::int64_t patience = std::max<std::int64_t>(framing.idle_gap.count(), 250'000'000);
  framing.give_up = nanoseconds(fields.milliseconds("give_up_ms", 1, 600'000).value_or(patience));
  if (framing.idle_gap < character && fields.has("idle_gap_ms")) {
    fields.fault("wrong_value", "frame.idle_gap_ms is shorter than one character",
                 "leave it out for 3.5 character times, or make it longer", "idle_gap_ms");
  }
  if (framing.by == CutBy::idle_gap) {
    if (fields.has("give_up_ms"))
      fields.fault("contradiction", "frame.give_up_ms means nothing where the gap itself ends a frame",
                   "leave it out", "give_up_ms");
    framing.give_up = framing.idle_gap;
  } else if (framing.give_up < framing.idle_gap) {
    fields.fault("contradiction", "frame.give_up_ms is shorter than frame.idle_gap_ms", "make it longer",
                 "give_up_ms");
  }
}

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
  const bool columns = root_.has("columns");
  if (!fields.has("pattern") && !columns) {
    fields.fault("missing_key", "there is neither value.pattern nor [columns]",
                 "say where in a frame the value stands");
  } else if (fields.has("pattern") && columns) {
    fields.fault("contradiction", "value.pattern and [columns] both say where the value stands",
                 "leave one out", "pattern");
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
  if (!fields.has("unit") && !dialect_.unit_in_frame) {
    fields.fault("no_unit", "the dialect states no unit, and its frames carry none",
                 "write [unit] unit = \"mm\", or in_frame = true with a map");
  }
  if (dialect_.unit_in_frame && !fields.has("map"))
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

void DialectReader::read_talk() {
  auto fields = section("talk");
  const auto speaks = fields.word("speaks", {"pushed", "asked", "streams"});
  if (!fields.has("speaks"))
    fields.fault("missing_key", "talk.speaks is missing",
                 "write [talk] speaks = \"pushed\", \"asked\" or \"streams\"");
  dialect_.speaks = speaks == "asked"     ? Speaks::asked
                    : speaks == "streams" ? Speaks::streams
                                          : Speaks::pushed;
  const bool streams = dialect_.speaks == Speaks::streams;
  dialect_.silent_after = whole_milliseconds(
      fields.milliseconds("silent_after_ms", 10, 86'400'000).value_or(streams ? 2'000'000'000 : 0));
  dialect_.frames_to_identify =
      static_cast<int>(fields.whole("frames_to_identify", 1, 100).value_or(streams ? 2 : 0));
  for (const auto key : {"silent_after_ms", "frames_to_identify"}) {
    if (!streams && speaks && fields.has(key)) {
      fields.fault("contradiction",
                   "talk." + std::string(key) + " stands there, but the gauge does not stream",
                   "leave it out: a gauge that speaks when pressed or asked may be silent for hours", key);
    }
  }
  fields.finish();
}

void DialectReader::read_ask() {
  auto fields = section("ask");
  if (!fields.present()) {
    if (dialect_.speaks == Speaks::asked)
      root_.fault("missing_key", "the gauge is asked, but there is no [ask]", "write [ask] request = \"...\"",
                  "talk");
    return;
  }
  Ask ask;
  ask.request = fields.bytes("request").value_or("");
  if (ask.request.empty())
    fields.fault("missing_key", "ask.request is missing or empty",
                 "write the bytes that make the gauge send its value", "request");
  ask.reply_timeout =
      whole_milliseconds(fields.milliseconds("reply_timeout_ms", 1, 600'000).value_or(500'000'000));
  ask.retries = static_cast<int>(fields.whole("retries", 0, 20).value_or(1));
  ask.every = whole_milliseconds(fields.milliseconds("every_ms", 0, 86'400'000).value_or(0));
  if (ask.every.count() > 0 && ask.every < ask.reply_timeout)
    fields.fault("contradiction", "ask.every_ms is shorter than ask.reply_timeout_ms",
                 "ask less often, or wait less long", "every_ms");
  if (dialect_.speaks != Speaks::asked)
    fields.fault("contradiction", "[ask] stands there, but talk.speaks is not \"asked\"",
                 "write speaks = \"asked\", or leave [ask] out");
  fields.finish();
  dialect_.ask = ask;
}

void DialectReader::compile() {
  source_.framing = dialect_.framing;
  const bool status_map = !source_.status_map.empty();
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
      place.fault("contradiction",
                  std::string(what) + ", but neither pattern nor columns name a part \"" + part + "\"",
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
