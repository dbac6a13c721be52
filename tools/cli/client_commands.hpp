// Commands that go through the running daemon, so that it alone writes. See commands.hpp.
#pragma once

#include <boost/json.hpp>
#include <string>
#include <vector>

#include "tools/cli/commands.hpp"

namespace tallystick::cli {

/// Which daemon: an address or the path of its Unix socket; else the address of the configuration; else the
/// default.
struct DaemonOptions {
  std::string daemon;
  std::string config;
};

/// Errors of all of them: the daemon's own, with `status::no` where it refused and `status::not_done` where
/// it could not be reached or could not keep it.

struct ListOptions {
  DaemonOptions daemon;
  std::string
      subject;  ///< "benches", "gauges", "lots", "walks", "checklists", or "bench/<id>" for a bench's view
  bool json = false;
};
/// One line for each, or its JSON.
int list(const ListOptions& options, Streams streams);

struct PortsOptions {
  DaemonOptions daemon;
  std::string watch;   ///< port or gauge whose frames are followed, raw and decoded
  double seconds = 0;  ///< of watching; 0: until interrupted
  bool json = false;
};
/// Watching: from the daemon; where none runs and a configuration is named, the port is opened here.
int ports(const PortsOptions& options, Streams streams);
/// A frame as the daemon shows it (RecentFrame): time, gauge, "pushed 25.011 mm ok" or why it was refused,
/// bytes in hex.
void print_frame(const std::string& gauge, const boost::json::object& frame, bool as_json, std::ostream& out);

/// Any command of VIEW.md. `members` are key=text, or key:=JSON for what is not text.
struct CommandOptions {
  DaemonOptions daemon;
  std::string bench;  ///< "-": of no bench (a lot, an edition)
  std::string kind;
  std::vector<std::string> members;
  std::string idempotency_key;  ///< empty: a new one
  bool look =
      false;  ///< fetch the view first, and send what it showed: refused when the walk moves on meanwhile
  bool json = false;
};
int command(const CommandOptions& options, Streams streams);

/// A decision about suspect results: those named, or all that stand of a gauge or a lot.
struct ClearSuspectsOptions {
  DaemonOptions daemon;
  std::vector<std::string> results;  ///< keys, as `suspects` lists them
  std::string gauge, lot;            ///< id; key or name; empty: any
  std::string decision;              ///< "use-as-is" | "measure-again" | "reject"
  std::string person, reason, note, customer;
  bool json = false;
};
/// Through the daemon, in one event. `status::no` where it is refused, or nothing of that stands suspect.
int clear_suspects(const ClearSuspectsOptions& options, Streams streams);

struct ReloadOptions {
  DaemonOptions daemon;
  bool json = false;
};
/// The daemon reads its configuration anew: whole, or not at all. `status::no` where it was refused, with every fault
/// and its remedy; `status::not_done` where no daemon was found. Asked are, in this order: the daemon named; the
/// service's socket; the socket in the data folder of the configuration; its address. So a configuration that is broken
/// does not hide the daemon that runs on the one before.
int reload(const ReloadOptions& options, Streams streams);

/// The simulated bench. What follows goes to tools/simulate-gauges as it stands, whose exit status it is.
struct SimulateOptions {
  std::vector<std::string> arguments;
};
int simulate(const SimulateOptions& options, Streams streams);

}  // namespace tallystick::cli
