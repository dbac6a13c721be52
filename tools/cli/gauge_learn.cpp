#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <istream>
#include <ostream>

#include "drivers/learn/findings_json.hpp"
#include "drivers/learn/session.hpp"
#include "drivers/ports/clock.hpp"
#include "drivers/ports/ear.hpp"
#include "tools/cli/gauge.hpp"
#include "tools/cli/gauge_files.hpp"

namespace tallystick::cli {
namespace {

using learn::Session;

void tell(const learn::Findings& findings, std::ostream& out) {
  for (const auto& known : findings.known) {
    out << "  dialect " << known.name << " reads it: " << known.read.back();
    if (known.other_settings)
      out << "  (but its own line settings are others: copy it, and write those of "
          << learn::settings_text(known.heard_with) << " into [port])";
    out << '\n';
  }
  if (!findings.proposals.empty()) {
    const auto& proposal = findings.proposals.front();
    out << "  a new dialect reads all presses as they were shown, the last as " << proposal.read.back()
        << ", at " << learn::settings_text(proposal.line) << '\n';
    for (const auto& remark : proposal.unseen) out << "  not seen: " << learn::remark_text(remark) << '\n';
  }
  for (const auto& remark : findings.missing) out << "  missing: " << learn::remark_text(remark) << '\n';
}

bool reads_as_it_is(const learn::Findings& findings) {
  return std::ranges::any_of(findings.known, [](const auto& known) { return !known.other_settings; });
}

/// Writes the dialect and its replay log; or where nothing was learned, what was heard.
int keep(const LearnOptions& options, const learn::Recording& recording, const learn::Findings& findings,
         Streams streams) {
  const std::string stem = options.to + "/" + options.name;
  if (options.to.empty())
    return findings.proposals.empty() && !reads_as_it_is(findings) ? status::no : status::good;
  std::vector<std::pair<std::string, std::string>> texts;
  if (!findings.proposals.empty()) {
    const auto& proposal = findings.proposals.front();
    texts = {{stem + ".dialect.toml", proposal.toml},
             {stem + ".good.log",
              learn::replay_log_text(proposal.presses, options.name, proposal.line, date_today())}};
  } else if (!recording.presses.empty()) {
    texts = {{stem + ".heard.log", learn::recording_text(recording)}};
  }
  for (const auto& [path, bytes] : texts) {
    if (auto done = write_new(path, bytes); !done) return say(done.error(), false, streams, status::not_done);
    streams.out << "written: " << path << '\n';
  }
  return findings.proposals.empty() && !reads_as_it_is(findings) ? status::no : status::good;
}

int of_log(const LearnOptions& options, const KnownDialects& known, Streams streams) {
  const auto text = content_of(options.log);
  if (!text) return say(text.error(), options.json, streams, status::not_done);
  const auto recording = learn::read_recording(*text, options.log);
  if (!recording) {
    for (const auto& fault : recording.error()) say(fault, false, streams);
    return status::not_understood;
  }
  if (!recording->note.empty())
    streams.err << "tallystick: " << options.log << ": " << recording->note << '\n';
  const auto findings = learn::learn(*recording, known.dialects, {options.name, date_today()});
  if (options.json) {
    streams.out << boost::json::serialize(learn::findings_json(findings)) << '\n';
  } else {
    tell(findings, streams.out);
    if (options.to.empty() && !findings.proposals.empty())
      streams.out << '\n' << findings.proposals.front().toml;
  }
  LearnOptions quiet = options;
  if (options.json) quiet.to.clear();
  return keep(quiet, *recording, findings, streams);
}

/// One sitting at a real line: listens, asks, listens again.
class Sitting {
 public:
  Sitting(const LearnOptions& options, const KnownDialects& known, std::optional<PortSettings> only,
          Streams streams)
      : options_(options),
        path_(known.port_path),
        streams_(streams),
        session_(known.dialects, {options.name, date_today()}, only),
        clock_({}, 0),
        ear_(loop_, clock_,
             {[this](std::string_view bytes, const Stamp& when) {
                session_.heard(bytes, when.steady_ns / 1000);
              },
              [this](const Error& why) { lost_ = why; }}) {}

  int run() {
    streams_.out << "Listening on " << path_ << ". Nothing is sent to the gauge.\n"
                 << "Answer with what the display shows (-12.345 mm), an empty line to forget a press, w to "
                    "write what "
                    "was learned, q to end.\n";
    for (;;) {
      if (const auto ended = hear_press()) return *ended;
      if (session_.wants() == Session::Wants::press) {
        say_changed_settings();
        continue;
      }
      if (const auto ended = talk()) return *ended;
    }
  }

 private:
  /// Listens until a press ended. A status: the sitting is over.
  std::optional<int> hear_press() {
    streams_.out << "Press the gauge's button (listening at " << learn::settings_text(session_.line())
                 << ") ..." << std::endl;
    if (auto done = ear_.open(path_, session_.line()); !done)
      return say(done.error(), false, streams_, status::not_done);
    const auto began = std::chrono::steady_clock::now();
    const auto patience = std::chrono::duration<double>(options_.wait);
    bool ended = false;
    while (!ended && !lost_) {
      loop_.restart();
      loop_.run_for(std::chrono::milliseconds(50));
      ended = session_.tick(clock_.now().steady_ns / 1000);
      if (session_.press_ends_us() || std::chrono::steady_clock::now() - began < patience) continue;
      if (ended) break;
      ear_.close();
      streams_.out << "Nothing was heard for " << options_.wait
                   << " s: check the cable, and that the gauge sends when its button is pressed.\n";
      return end();
    }
    ear_.close();
    if (!lost_) return std::nullopt;
    say(*lost_, false, streams_, status::not_done);
    end();
    return status::not_done;
  }

  void say_changed_settings() {
    streams_.out << "  heard " << session_.last_bytes().size() << " bytes without a readable shape: "
                 << learn::readable(session_.last_bytes()).substr(0, 100) << '\n';
    if (session_.tried_all())
      streams_.out
          << "  All usual settings were tried. If the gauge sends bytes that are no text, say its settings: "
             "--line \"9600 8N1\".\n";
  }

  /// Asks what the display shows, tells what was found. A status: the sitting is over.
  std::optional<int> talk() {
    streams_.out << "  heard: " << learn::readable(session_.last_bytes()).substr(0, 200) << '\n';
    for (const auto& known : session_.findings().known)
      streams_.out << "  dialect " << known.name << " reads: " << known.read.back()
                   << (known.other_settings ? " (its own line settings are others)" : "") << '\n';
    for (;;) {
      streams_.out << "What does the display show? " << std::flush;
      std::string answer;
      if (!std::getline(streams_.in, answer) || answer == "q") return end();
      if (answer == "w") return end();
      if (answer.empty()) {
        static_cast<void>(session_.forget());
        break;
      }
      const auto done = session_.shown(answer);
      if (done) break;
      streams_.out << "  " << text(done.error()) << '\n';
    }
    tell(session_.findings(), streams_.out);
    if (session_.wants() == Session::Wants::ready) {
      streams_.out << "w: end and write. Enter: press again with another value, to prove more. "
                   << std::flush;
      std::string answer;
      if (!std::getline(streams_.in, answer) || answer == "w" || answer == "q") return end();
    } else if (session_.held_back()) {
      streams_.out << "The gauge sends all the time: hold another value still, then press Enter. "
                   << std::flush;
      std::string answer;
      if (!std::getline(streams_.in, answer) || answer == "q") return end();
    }
    session_.listen();
    return std::nullopt;
  }

  int end() {
    const auto& findings = session_.findings();
    const int status = keep(options_, session_.recording(), findings, streams_);
    if (status != status::good) return status;
    const auto known = std::ranges::find(findings.known, false, &learn::KnownDialect::other_settings);
    const bool is_known = known != findings.known.end();
    streams_.out << "Lines for tallystick.toml (then: tallystick check, tallystick reload):\n\n"
                 << configuration_lines(path_, is_known ? known->name : options_.name);
    return status::good;
  }

  const LearnOptions& options_;
  std::string path_;
  Streams streams_;
  Session session_;
  boost::asio::io_context loop_{1};
  ports::SystemClock clock_;
  std::optional<Error> lost_;
  ports::Ear ear_;
};

}  // namespace

int learn_gauge(const LearnOptions& options, Streams streams) {
  if (options.port.empty() == options.log.empty())
    return say({"contradiction",
                "a port or --log is needed, and only one of them",
                {},
                "tallystick gauge learn /dev/serial/by-id/...   or   --log heard.log"},
               false, streams);
  const bool good_name =
      !options.name.empty() && options.name.size() <= 40 && std::ranges::all_of(options.name, [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
      });
  if (!good_name)
    return say({"wrong_name", "\"" + options.name + "\" is no name for a dialect", "--name",
                "use 1 to 40 of a-z, 0-9 and -"},
               false, streams);
  std::optional<PortSettings> only;
  if (!options.line.empty()) {
    only = learn::settings_of(options.line);
    if (!only)
      return say({"wrong_settings", "\"" + options.line + "\" is no line setting", "--line",
                  "write speed, data bits, parity and stop bits: \"9600 7E1\""},
                 false, streams);
  }
  const auto known = known_dialects(options);
  if (!known) return say(known.error(), options.json, streams, status::not_done);
  if (!options.log.empty()) return of_log(options, *known, streams);
  return Sitting(options, *known, only, streams).run();
}

}  // namespace tallystick::cli
