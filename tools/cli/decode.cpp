#include <array>
#include <fstream>
#include <istream>
#include <ostream>

#include "drivers/decode/decoder.hpp"
#include "drivers/decode/replay_log.hpp"
#include "tools/cli/commands.hpp"

namespace tallystick::cli {
namespace {

Error cannot_read(const std::string& file) {
  return {"cannot_read", "the file cannot be read", file, "check its name and who may read it"};
}

/// Everything up to the end. A failure (a folder, a bad disk) stands in the stream's state.
std::string rest_of(std::istream& in) {
  std::string out;
  std::array<char, 4096> block;
  do {
    in.read(block.data(), block.size());
    out.append(block.data(), static_cast<std::size_t>(in.gcount()));
  } while (in);
  return out;
}

Expected<std::string> content_of(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) return tl::unexpected(cannot_read(file));
  std::string text = rest_of(in);
  if (in.bad()) return tl::unexpected(cannot_read(file));
  return text;
}

int say_all(const Faults& faults, Streams streams) {
  for (const auto& fault : faults) say(fault, false, streams);
  return status::not_understood;
}

/// Writes events and remembers whether any was a refusal.
struct Printer {
  std::ostream& out;
  bool refused = false;
  void operator()(const std::vector<DecodeEvent>& events) {
    for (const auto& event : events) {
      out << json_line(event) << '\n';
      refused = refused || event.refusal() != nullptr;
    }
  }
};

int decode_log(const std::string& text, const std::string& file,
               const std::shared_ptr<const Dialect>& dialect, Printer& print, Streams streams) {
  const auto log = read_replay_log(text, file);
  if (!log) return say_all(log.error(), streams);
  print(replay(*log, dialect));
  return print.refused ? status::no : status::good;
}

/// Bytes without times: one stream between two gaps.
int decode_stream(std::istream& in, Decoder& decoder, Printer& print) {
  std::array<char, 4096> block;
  while (in) {
    in.read(block.data(), block.size());
    print(decoder.feed({block.data(), static_cast<std::size_t>(in.gcount())}, Stamp{}));
  }
  print(decoder.gap(Stamp{}));
  return print.refused ? status::no : status::good;
}

int decode_hex(const std::string& text, const std::string& file, Decoder& decoder, Printer& print,
               Streams streams) {
  const auto bytes = bytes_of_hex(text);
  if (!bytes) {
    return say({"not_hex", "the input is not hex text", file,
                "write two digits a byte; blanks and line ends may stand between bytes"},
               false, streams);
  }
  print(decoder.feed(*bytes, Stamp{}));
  print(decoder.gap(Stamp{}));
  return print.refused ? status::no : status::good;
}

}  // namespace

int decode(const DecodeOptions& options, Streams streams) {
  if (options.hex && options.log) {
    return say({"contradiction",
                "--hex and --log are both given",
                {},
                "a replay log holds hex with times: leave --hex out"},
               false, streams);
  }
  const auto toml = content_of(options.dialect);
  if (!toml) return say(toml.error(), false, streams, status::not_done);
  auto read = read_dialect(*toml, options.dialect);
  if (!read) return say_all(read.error(), streams);
  const auto dialect = std::make_shared<const Dialect>(*std::move(read));

  const bool from_file = !options.file.empty() && options.file != "-";
  const std::string named = from_file ? options.file : "standard input";
  std::ifstream file;
  if (from_file) {
    file.open(options.file, std::ios::binary);
    if (!file || file.peek() == std::ifstream::traits_type::eof()) {
      // An empty file is fine, a folder or a missing one is not.
      if (!file.is_open() || file.bad())
        return say(cannot_read(options.file), false, streams, status::not_done);
      file.clear();
    }
  }
  std::istream& in = from_file ? static_cast<std::istream&>(file) : streams.in;
  Printer print{streams.out};
  if (options.log) return decode_log(rest_of(in), named, dialect, print, streams);
  if (dialect->modbus) {
    return say({"no_request", "a register's reply is understood only by what was asked, and the input has no requests",
                options.dialect, "give a replay log with its tx lines: --log"},
               false, streams);
  }
  if (dialect->framing.by == CutBy::idle_gap) {
    streams.err
        << "tallystick: " << options.dialect
        << ": its frames are cut by gaps, and the input has no times: all of it is taken as one frame\n";
  }
  Decoder decoder(dialect);
  if (options.hex) return decode_hex(rest_of(in), named, decoder, print, streams);
  return decode_stream(in, decoder, print);
}

}  // namespace tallystick::cli
