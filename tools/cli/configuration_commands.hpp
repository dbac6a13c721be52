// Commands about a configuration on disk. None of them needs the daemon; only add-size changes a file.
#pragma once

#include <string>
#include <vector>

#include "tools/cli/commands.hpp"

namespace tallystick::cli {

struct CheckOptions {
  std::string config;  ///< a tallystick.toml, or its folder
  bool json = false;
};
/// Checks a configuration whole and tells every fault: `status::good` where it is sound (warnings do not
/// count), `status::no` where faults stand, `status::not_understood` where it cannot be read. Changes no
/// byte.
int check(const CheckOptions& options, Streams streams);

struct RegisterOptions {
  std::string config;
  bool json = false;
};
/// The benches, ports, gauges and masters that a configuration registers.
int registered(const RegisterOptions& options, Streams streams);

struct ShowOptions {
  std::string source;  ///< a configuration, a *.family.toml, or an edition's JSON
  std::string size;    ///< empty: all
  bool json = false;   ///< one edition a line, byte for byte as it would be published but for its number
};
int checklist_show(const ShowOptions& options, Streams streams);

struct CompareOptions {
  std::string before, after;  ///< as ShowOptions::source
  bool json = false;
};
/// What changed in the worked-out content of each size: `status::no` where anything did.
int checklist_compare(const CompareOptions& options, Streams streams);

struct AddSizeOptions {
  std::string family;              ///< a *.family.toml
  std::vector<std::string> cells;  ///< "column=text"
  std::string like;                ///< size whose cells stand where none are given
  std::string after;               ///< size behind whose last row it goes; empty: at the end
  bool dry_run = false;            ///< works it out and writes nothing
  bool json = false;
};
/// Adds one row to the size table, only if the family is then sound; the file is replaced as a whole. The
/// other rows stay as they are, byte for byte.
int checklist_add_size(const AddSizeOptions& options, Streams streams);

}  // namespace tallystick::cli
