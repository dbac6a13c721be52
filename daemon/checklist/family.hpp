// A family: the features of parts that share a checklist (TOML) and its size table (CSV), worked out into one
// edition for each size. config/demo/fb.family.toml and fs.family.toml are the annotated examples of every key.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/checklist/edition.hpp"
#include "daemon/checklist/fault.hpp"

namespace tallystick::checklist {

/// One size, worked out. `edition.number` is 0 until it is published.
struct WorkedSize {
  Edition edition;
  int row_line = 0;                ///< its row in the size table
  std::vector<int> feature_lines;  ///< parallel to edition.features: where each stands in the family's file
};

struct Family {
  std::string key, title;
  std::string file, table_file, drawing_file;  ///< as named; empty: none
  std::string drawing;                         ///< the SVG's bytes
  std::vector<WorkedSize> sizes;               ///< in the table's order; a size with a fault is left out
  std::vector<std::string> columns;            ///< of the size table
};

/// Hands out the bytes of a file named beside the family's own. Called for the size table and the drawing.
using ReadFile = std::function<Expected<std::string>(const std::string& name)>;

/// Reads and works out. All faults of all three files are added to `faults`; what is sound stands in the
/// result.
Family read_family(std::string_view toml, const std::string& file, const ReadFile& read_file,
                   std::vector<Fault>& faults);

/// Warnings for pairs of sizes that most features cannot tell apart and no feature marked `tells_sizes_apart`
/// does.
std::vector<Fault> alike_sizes(const Family& family);

/// One difference between two editions: `feature` empty for members of the edition itself; `before` / `after`
/// empty where the feature or member is missing there.
struct Difference {
  std::string feature, member, before, after;
  bool operator==(const Difference&) const = default;
};
BOOST_DESCRIBE_STRUCT(Difference, (), (feature, member, before, after))
/// What changed in worked-out content (`number` is none of it), in the order of the editions.
std::vector<Difference> compare(const Edition& before, const Edition& after);

/// What publishing a family would do, held against the newest published edition of each size and print
/// revision.
struct Publishing {
  std::vector<Edition> publish;    ///< changed or new, numbered: one more than the highest of that size
  std::vector<Edition> unchanged;  ///< as published
};
Publishing publishing(const std::vector<Edition>& worked_out, const std::vector<Edition>& published);

}  // namespace tallystick::checklist
