// What is wrong in the house and stays on the faults page until a person clears it, with the name. Pure: it
// is told what stands now, and the time. Operational, not the record: the record keeps only who cleared what.
#pragma once

#include <boost/describe.hpp>
#include <boost/json.hpp>
#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::shop {

/// Something that is wrong now, as its source tells it.
struct Condition {
  std::string severity = "warning";  ///< "fault" | "warning"
  std::string code, where, what, hint;
  bool operator==(const Condition&) const = default;
};

/// A condition as the page shows it. Times are ISO 8601 with Z.
struct Notice {
  std::string id, source, severity, code, where, what, hint;
  std::string first_utc, last_utc;      ///< when it first came, and when it last did
  std::int64_t count = 1;               ///< how often it came
  bool standing = true;                 ///< still so; else it has ended, and waits to be cleared
  std::string cleared_by, cleared_utc;  ///< empty: nobody has
  bool operator==(const Notice&) const = default;
};
BOOST_DESCRIBE_STRUCT(Notice, (),
                      (id, source, severity, code, where, what, hint, first_utc, last_utc, count, standing,
                       cleared_by, cleared_utc))

class Notices {
 public:
  static constexpr std::size_t most = 500;

  /// All that `source` finds wrong at present. What it does not tell any more has ended, and stays until it
  /// is cleared; what comes again is counted, and a cleared one returns. True where anything changed.
  bool stand(std::string_view source, const std::vector<Condition>& conditions, const std::string& utc);
  /// One that still stands is hidden until it has ended and comes again. Errors: "unknown_notice",
  /// "wrong_shape" (no name), "not_now" (somebody has cleared it: who and when).
  Expected<Notice> clear(std::string_view id, const std::string& person, const std::string& utc);

  /// Those that nobody has cleared first; then the newest first.
  std::vector<Notice> all() const;
  std::string to_json_text() const;
  /// As kept at the last stop: nothing stands until a source says so. Error "wrong_shape", "not_json".
  Done load(std::string_view json);

 private:
  void keep_bounded();
  std::map<std::string, Notice> notices_;  ///< by id
};

}  // namespace tallystick::shop
