// The part of DialectReader that is about the port and the cutting of frames; dialect_content.cpp has the
// rest.
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
  if (root_.has("modbus")) {
    read_modbus();
    read_talk();
    read_modbus_ask();
    root_.finish();
    return dialect_;
  }
  read_frame();
  read_value();
  read_columns();
  read_binary();
  read_numbers();
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
  const auto by = fields.word("cut_by", {"terminator", "length", "start_end", "idle_gap", "length_byte"});
  if (fields.present() && !by && !fields.has("cut_by")) {
    fields.fault("missing_key", "frame.cut_by is missing",
                 "write terminator, length, length_byte, start_end or idle_gap");
  }
  framing.by = by == "length"        ? CutBy::length
               : by == "start_end"   ? CutBy::start_end
               : by == "idle_gap"    ? CutBy::idle_gap
               : by == "length_byte" ? CutBy::length_byte
                                     : CutBy::terminator;
  const auto terminator = fields.bytes("terminator");
  const auto end = fields.bytes("end");
  framing.start = fields.bytes("start").value_or("");
  framing.end = terminator ? *terminator : end.value_or("");
  framing.length = static_cast<std::size_t>(fields.whole("length", 1, 4096).value_or(0));
  framing.length_at = static_cast<std::size_t>(fields.whole("length_at", 1, 64).value_or(1)) - 1;
  framing.length_adds = static_cast<std::size_t>(fields.whole("length_adds", 0, 64).value_or(0));
  framing.after_end = static_cast<std::size_t>(fields.whole("after_end", 1, 64).value_or(0));
  framing.longest = static_cast<std::size_t>(
      fields.whole("longest", 1, 4096)
          .value_or(framing.by == CutBy::length
                        ? static_cast<std::int64_t>(std::max<std::size_t>(framing.length, 1))
                        : 256));
  const auto shortest = fields.whole("shortest", 1, 319);
  framing.shortest = static_cast<std::size_t>(shortest.value_or(1));
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
    if (fields.has(key) && bytes.empty() && fields.bytes_are_read(key))
      fields.fault("wrong_value", "frame." + std::string(key) + " is empty",
                   "write the bytes, for instance \"\\r\"", key);
  };
  switch (framing.by) {
    case CutBy::terminator:
      needs("terminator", "write the bytes that close a frame, for instance \"\\r\\n\"");
      not_empty("terminator", framing.end);
      for (const auto key : {"start", "end", "length", "after_end", "length_at", "length_adds", "shortest"})
        has_no_place(key);
      break;
    case CutBy::start_end:
      needs("start", "write the bytes that open a frame");
      needs("end", "write the bytes that close a frame");
      not_empty("start", framing.start);
      not_empty("end", framing.end);
      for (const auto key : {"terminator", "length", "length_at", "length_adds", "shortest"})
        has_no_place(key);
      break;
    case CutBy::length:
      needs("length", "write how many bytes a whole frame has");
      for (const auto key : {"terminator", "after_end", "length_at", "length_adds", "shortest"})
        has_no_place(key);
      if (framing.length > framing.longest)
        fields.fault("contradiction", "frame.longest is less than frame.length", "leave longest out",
                     "longest");
      break;
    case CutBy::idle_gap:
      for (const auto key :
           {"terminator", "start", "end", "length", "after_end", "length_at", "length_adds", "shortest"})
        has_no_place(key);
      break;
    case CutBy::length_byte:
      needs("start", "write the bytes that open a frame: without them a lost border is never found again");
      needs("length_at", "write at which byte of the frame, counted from 1, its length stands");
      not_empty("start", framing.start);
      for (const auto key : {"terminator", "length", "after_end"}) has_no_place(key);
      check_length_byte(fields);
      break;
  }
  if (framing.start.size() + framing.end.size() + framing.after_end >=
      std::max(framing.longest, framing.length)) {
    fields.fault("contradiction", "a frame has no room for anything between its marks",
                 "make it longer, or the marks shorter");
  }
}

void DialectReader::check_length_byte(TomlFields& fields) {
  auto& framing = dialect_.framing;
  if (fields.has("length_at") && framing.length_at < framing.start.size())
    fields.fault("contradiction", "frame.length_at lies inside frame.start",
                 "places are counted from 1 at the frame's first byte; the length stands behind the start",
                 "length_at");
  // What the marks and the length byte need is what the shortest frame has.
  framing.shortest =
      std::max({framing.shortest, framing.length_at + 2, framing.start.size() + framing.end.size() + 1});
  if (framing.shortest > framing.longest)
    fields.fault("contradiction", "frame.longest is less than frame.shortest", "make it longer", "longest");
}

void DialectReader::read_times(TomlFields& fields) {
  auto& framing = dialect_.framing;
  const nanoseconds character = dialect_.port.character_time();
  framing.idle_gap =
      nanoseconds(fields.milliseconds("idle_gap_ms", 0, 60'000).value_or(character.count() * 7 / 2));
  framing.open_gap = fields.has("idle_gap_ms") ? framing.idle_gap
                                               : std::max<nanoseconds>(framing.idle_gap, milliseconds(20));
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
  dialect_.reopen_after = whole_milliseconds(fields.milliseconds("reopen_after_ms", 1000, 86'400'000).value_or(0));
  for (const auto key : {"silent_after_ms", "frames_to_identify", "reopen_after_ms"}) {
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
  ask.error_query = fields.bytes("error_query").value_or("");
  if (!ask.error_query.empty() && dialect_.framing.by != CutBy::terminator)
    fields.fault("contradiction", "ask.error_query is there, but a reply does not end with a terminator",
                 "error queues answer in lines: use cut_by = \"terminator\", or leave it out", "error_query");
  if (dialect_.speaks != Speaks::asked)
    fields.fault("contradiction", "[ask] stands there, but talk.speaks is not \"asked\"",
                 "write speaks = \"asked\", or leave [ask] out");
  fields.finish();
  dialect_.ask = ask;
}

}  // namespace tallystick::decode
