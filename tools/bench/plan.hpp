// What the orchestrator (run) tells the program that presses: JSON on standard input.
#pragma once

#include <sys/types.h>

#include <boost/json.hpp>
#include <string>
#include <vector>

namespace tallystick::bench {

/// One of the two programs that are measured against each other.
struct Side {
  std::string name;            ///< "ours" | "floor"
  std::vector<int> terminals;  ///< masters, inherited
  std::string shared_file;     ///< its database's -shm
  pid_t process = 0;
  std::string address;               ///< host:port; empty: has no page
  std::vector<std::string> benches;  ///< parallel to `terminals`, where it has pages
};

struct Plan {
  std::vector<Side> sides;
  int blocks = 0;      ///< of each side, alternating
  int warm_up = 20;    ///< presses before the first block: caches, and a WAL that has grown to its size
  int presses = 0;     ///< a block, one after the other
  int pause_us = 0;    ///< between a press's end and the next press
  double seconds = 0;  ///< a block of the crowd
  double rate = 0;     ///< presses a second and terminal, of the crowd
};

Side side_from(const boost::json::object& from);
Plan plan_from_input();

/// The press with this number on the line: "+NNN.NNN<CR>", never the same twice in a row, within 100 to 899
/// mm.
std::string press_line(unsigned number);

/// `blocks` blocks of single presses, one line of JSON a block:
/// {"side","block","durable_ns":[...],"page_ns":[...],
/// "frames":n,"disturbed":n,"commits":n}.
void press_one_by_one(const Plan& plan);
/// `blocks` blocks of a crowd: all terminals at `rate`, evenly staggered. One line of JSON a block:
/// {"side","block", "sent","refused_by_terminal","seconds","cpu_ns","commits","messages","message_bytes"}.
void press_as_a_crowd(const Plan& plan);

}  // namespace tallystick::bench
