#include <fcntl.h>
#include <unistd.h>

#include <boost/json.hpp>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <ostream>
#include <sstream>

#include "daemon/export/feed.hpp"
#include "tools/cli/record_commands.hpp"

namespace tallystick::cli {
namespace {

namespace files = std::filesystem;
namespace json = boost::json;

tl::unexpected<Error> cannot_write(const files::path& file) {
  return fail("cannot_write", std::strerror(errno), file.string(), "make room, or name another file");
}

/// A file that appears whole or not at all: written beside its place, synced, renamed, its folder synced.
class WholeFile {
 public:
  explicit WholeFile(files::path file) : file_(std::move(file)), beside_(file_.string() + ".part") {}
  ~WholeFile() {
    if (descriptor_ < 0) return;
    ::close(descriptor_);
    ::unlink(beside_.c_str());
  }
  WholeFile(const WholeFile&) = delete;
  WholeFile& operator=(const WholeFile&) = delete;

  Done open() {
    descriptor_ = ::open(beside_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (descriptor_ < 0) return cannot_write(beside_);
    return {};
  }
  Done write(std::string_view bytes) {
    while (!bytes.empty()) {
      const auto count = ::write(descriptor_, bytes.data(), bytes.size());
      if (count < 0 && errno == EINTR) continue;
      if (count < 0) return cannot_write(beside_);
      bytes.remove_prefix(static_cast<std::size_t>(count));
    }
    return {};
  }
  Done put_in_place() {
    if (::fsync(descriptor_) != 0) return cannot_write(beside_);
    if (::rename(beside_.c_str(), file_.c_str()) != 0) return cannot_write(file_);
    ::close(descriptor_);
    descriptor_ = -1;
    const auto folder = file_.has_parent_path() ? file_.parent_path() : files::path(".");
    const int opened = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (opened < 0) return cannot_write(folder);
    const int synced = ::fsync(opened);
    ::close(opened);
    if (synced != 0) return cannot_write(folder);
    return {};
  }

 private:
  files::path file_, beside_;
  int descriptor_ = -1;
};

/// Where the pieces go: a file that is put in place at the end, or a stream.
class Sink {
 public:
  Sink(const std::string& file, std::ostream& out) : out_(out) {
    if (!file.empty()) file_.emplace(file);
  }
  Done begin() { return file_ ? file_->open() : Done{}; }
  Done take(const std::string& piece) {
    if (file_) return file_->write(piece);
    out_.write(piece.data(), static_cast<std::streamsize>(piece.size()));
    return out_ ? Done{} : stream_fault();
  }
  Done end() {
    if (file_) return file_->put_in_place();
    out_.flush();
    return out_ ? Done{} : stream_fault();
  }

 private:
  static tl::unexpected<Error> stream_fault() {
    return fail("cannot_write", "the output does not take the rest", {},
                "the old cursor is still the one to go on with");
  }
  std::ostream& out_;
  std::optional<WholeFile> file_;
};

Expected<std::string> kept_cursor(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) {
    if (!files::exists(file)) return std::string();
    return fail("cannot_read", std::strerror(errno), file);
  }
  std::ostringstream all;
  all << in.rdbuf();
  auto text = std::move(all).str();
  while (!text.empty() && (text.back() == '\n' || text.back() == '\r')) text.pop_back();
  return text;
}

Error with_way_on(Error error, const record::Place& place, const record::Cursor& after) {
  if (error.code != "past_branch_point") return error;
  auto reader = record::Reader::open(place);
  if (!reader) return error;
  if (auto point = (*reader)->branch_point(after); point && *point)
    error.hint = "the journal has branched after event " + text((*point)->point) + "; go on with --after " +
                 text((*point)->go_on);
  return error;
}

Done write_all(exporting::FactFeed& feed, Sink& sink) {
  if (auto done = sink.begin(); !done) return done;
  for (;;) {
    auto piece = feed.next();
    if (!piece) return tl::unexpected(piece.error());
    if (!*piece) return sink.end();
    if (auto done = sink.take(**piece); !done) return done;
  }
}

Done keep_cursor(const std::string& file, const record::Cursor& cursor) {
  WholeFile out(file);
  if (auto done = out.open(); !done) return done;
  if (auto done = out.write(text(cursor) + "\n"); !done) return done;
  return out.put_in_place();
}

}  // namespace

int export_facts(const ExportOptions& options, Streams streams) {
  const auto refuse = [&](const Error& error, int status) {
    return say(error, options.json, streams, status);
  };
  if (options.format != "csv" && options.format != "jsonl")
    return refuse({"wrong_argument", "there is no format " + tallystick::quoted(options.format), "--format",
                   "csv or jsonl"},
                  status::not_understood);
  auto parameters = options.parameters;
  if (!options.cursor_file.empty() && !parameters.contains("after")) {
    auto cursor = kept_cursor(options.cursor_file);
    if (!cursor) return refuse(cursor.error(), status::not_done);
    parameters["after"] = std::move(*cursor);
  }
  auto selection = exporting::selection_from(parameters);
  if (!selection) return refuse(selection.error(), status::not_understood);
  auto place = place_of(options.record);
  if (!place) return refuse(place.error(), status::not_understood);
  auto reader = record::Reader::open(*place);
  if (!reader) return refuse(reader.error(), status::not_done);
  const auto form = options.format == "csv" ? exporting::Form::csv : exporting::Form::json_lines;
  auto feed = exporting::FactFeed::open(std::move(*reader), *selection, form);
  if (!feed) return refuse(with_way_on(feed.error(), *place, selection->after), status::not_done);
  Sink sink(options.output, streams.out);
  if (auto done = write_all(**feed, sink); !done) return refuse(done.error(), status::not_done);
  if (options.cursor_file.empty()) {
    streams.err << "cursor: " << text((*feed)->go_on()) << '\n';
    return status::good;
  }
  if (auto done = keep_cursor(options.cursor_file, (*feed)->go_on()); !done)
    return refuse(done.error(), status::not_done);
  return status::good;
}

int suspects(const SuspectsOptions& options, Streams streams) {
  const auto refuse = [&](const Error& error, int status) {
    return say(error, options.json, streams, status);
  };
  auto place = place_of(options.record);
  if (!place) return refuse(place.error(), status::not_understood);
  auto reader = record::Reader::open(*place);
  if (!reader) return refuse(reader.error(), status::not_done);
  record::FactFilter filter;
  filter.kind = "mark";
  if (!options.lot.empty()) (key_from(options.lot) ? filter.lot : filter.lot_name) = options.lot;
  std::size_t count = 0;
  record::Cursor position;
  for (bool more = true; more;) {
    auto page = (*reader)->facts_after(position, filter, 2000, record::View::as_of_now);
    if (!page) return refuse(page.error(), status::not_done);
    position = page->next;
    more = page->more;
    for (const auto& row : page->rows) {
      const auto& fact = row.fact;
      if (fact.verdict != "suspect") continue;
      ++count;
      if (options.json) {
        streams.out << json::serialize(json::value{{"result", fact.overrules},
                                                   {"mark", record::fact_key(row.event, row.n)},
                                                   {"lot_name", fact.lot_name},
                                                   {"serial", fact.serial},
                                                   {"feature", fact.feature},
                                                   {"gauge", fact.gauge},
                                                   {"reason", fact.reason},
                                                   {"since_utc", fact.measured_utc}})
                    << '\n';
      } else {
        streams.out << "lot " << fact.lot_name << ", part " << fact.serial << ", " << fact.feature
                    << ": gauge " << fact.gauge << ", " << fact.reason << ", since " << fact.measured_utc
                    << " (result " << fact.overrules << ")\n";
      }
    }
  }
  if (!options.json) streams.err << count << (count == 1 ? " result is suspect\n" : " results are suspect\n");
  return count == 0 ? status::good : status::no;
}

}  // namespace tallystick::cli
