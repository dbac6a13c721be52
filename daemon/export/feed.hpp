// A stream of facts in one form, piece by piece: what the HTTP routes and the CLI share.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <string>

#include "daemon/export/selection.hpp"

namespace tallystick::exporting {

/// Facts behind `after`, up to a position that stands fixed when the feed is opened (`go_on`). Facts never
/// change, so the same window gives the same bytes whenever it is asked for; what is measured meanwhile comes
/// with the next window. Each piece is one short read; memory stays at one piece however long the stream is.
///
/// The view "as of now" is not such a window: it leaves out what is overruled at the time of each read. It
/// goes to the very end, and `go_on` is where the end was when it began, so that nothing is missed by who
/// goes on from there.
///
/// Not thread-safe: one call at a time, from any thread. Blocking.
class FactFeed {
 public:
  /// Errors: those of Reader's calls with a cursor, "wrong_parameter" (`until` lies before `after`).
  static Expected<std::unique_ptr<FactFeed>> open(std::unique_ptr<record::Reader> reader,
                                                  const Selection& selection, Form form);

  /// Hand it back as `after` to get what comes behind this stream. Known before the first piece.
  const record::Cursor& go_on() const { return until_; }
  /// The next piece, whole lines; nothing at the end. CSV begins with its header. After an error: the same
  /// error.
  Expected<std::optional<std::string>> next();
  std::uint64_t rows() const { return rows_; }  ///< given so far

 private:
  FactFeed(std::unique_ptr<record::Reader> reader, Selection selection, Form form);
  Done fix_end();
  bool within(const record::RawFact& fact) const;

  std::unique_ptr<record::Reader> reader_;
  Selection selection_;
  Form form_;
  record::Cursor position_, until_;
  std::map<std::string, std::int64_t, std::less<>> branches_;  ///< journal id -> branch number
  bool begun_ = false, ended_ = false;
  std::uint64_t rows_ = 0;
  std::optional<Error> broken_;
};

std::string_view media_type(Form form);

}  // namespace tallystick::exporting
