// `tallystick doctor`: looks at what most often keeps a bench from working, and says for each finding what to
// do. It reads only: no port is opened, nothing is changed. Each check is a function of its own whose view of
// the machine is handed to it, so that tests can plant every finding.
#pragma once

#include <sys/types.h>

#include <boost/json.hpp>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "daemon/measure/error.hpp"
#include "drivers/ports/keyboard_finder.hpp"
#include "drivers/ports/usb_key.hpp"
#include "tools/cli/client_commands.hpp"
#include "tools/cli/commands.hpp"

namespace tallystick::cli {

enum class Grade : std::uint8_t { good, warning, fault };

struct Diagnosis {
  std::string check;  ///< "port", "clock", "disk", "record", "share", "gauge", "daemon", "line"
  Grade grade = Grade::good;
  std::string code;    ///< stable, for programs; "" of what is good
  std::string what;    ///< what was found
  std::string where;   ///< port, file, gauge
  std::string remedy;  ///< what to do, the exact command where there is one
};
using Diagnoses = std::vector<Diagnosis>;

/// Where the kernel shows itself; tests hand in a tree of their own.
struct Roots {
  std::filesystem::path proc = "/proc", sys = "/sys";
};

/// Who the daemon runs as.
struct Identity {
  std::string name;
  uid_t user = 0;
  std::vector<gid_t> groups;
};
/// Of a user of this machine. Error "unknown_user".
Expected<Identity> identity_of(const std::string& name);

// ---- ports (doctor_ports.cpp). `path` is a port's path of the configuration; links are followed.

/// Which line a key on USB names among `lines`: its node in `node`, or the fault. Better keys for what stands
/// by a plain node: check_plain_node.
Diagnosis check_usb_key(const ports::UsbKey& key, const std::vector<ports::FoundPort>& lines,
                        std::string& node);
/// For a port that is named by a node whose number changes with the order of plugging in: a warning with the
/// line of configuration that names the adapter. Empty where the path is a better one.
Diagnoses check_plain_node(const std::string& path, const std::vector<ports::FoundPort>& lines);
/// USB serial lines that no port of the configuration leads to (`used`: the nodes of those that do), each
/// with the key that names it: for whoever writes the next [[port]].
Diagnoses check_free_lines(const std::vector<ports::FoundPort>& lines, const std::vector<std::string>& used);
/// There, a character device (`must_be_device`), and readable and writable for `who`: else the exact fix.
Diagnosis check_port_access(const std::string& path, const Identity& who, bool must_be_device = true);
/// Other programs that hold the port open; the daemon itself is meant to. Empty: nobody.
Diagnoses check_port_holders(const std::string& path, const Roots& roots);
/// Programs of the system that open serial lines by themselves: a modem manager, a driver of braille
/// displays, a time service, a console.
Diagnoses check_port_grabbers(const Roots& roots);
/// Suspend and waiting time of a USB adapter: what makes a press come late or not at all.
Diagnoses check_line_settings(const std::string& path, const Roots& roots);
/// USB adapters that name themselves alike: their links of /dev/serial/by-id change places.
Diagnoses check_same_serials(const Roots& roots);

// ---- keyboards (doctor_keyboards.cpp)

/// The device that a keyboard port means: there, the only one that fits, and readable for `who`; else the
/// exact fix. `types`: values or texts come from it, not only keys that act.
Diagnosis check_keyboard(const std::string& port, const ports::KeyboardSettings& settings, bool types,
                         const Identity& who, const ports::InputRoots& in = {});

// ---- machine (doctor_machine.cpp)

struct ClockSeen {
  bool synchronised = false;
  std::string policy = "network";  ///< of the configuration: "network" | "own"
  std::int64_t utc_us = 0;
  std::int64_t last_kept_utc_us = 0;  ///< time of the newest event; 0: none
};
Diagnosis check_clock(const ClockSeen& seen);

struct SpaceSeen {
  std::uint64_t free_bytes = 0, total_bytes = 0, free_files = 0, total_files = 0;
};
Diagnosis check_space(const SpaceSeen& seen, const std::string& folder);
/// By the table of mounts.
Diagnosis check_share(const std::filesystem::path& folder, const Roots& roots);
/// Quick: the file's structure, and the chain of the newest events. `verify` proves all of it.
Diagnoses check_record(const std::filesystem::path& data);
/// From the rows of /api/v1/gauges and /api/v1/ports.
Diagnoses check_gauges(const boost::json::value& gauges, const boost::json::value& ports,
                       std::int64_t now_utc_us);

struct DoctorOptions {
  DaemonOptions daemon;  ///< `config` names the configuration too
  std::string user;  ///< whom the ports must be open to; empty: the service's user where it exists, else ours
  bool json = false;
};
/// `status::good` where nothing is wrong (warnings count as wrong), `status::no` where something is.
int doctor(const DoctorOptions& options, Streams streams);
/// The same without saying it; for the support bundle.
Expected<Diagnoses> diagnose(const DoctorOptions& options);
boost::json::array diagnoses_json(const Diagnoses& diagnoses);

}  // namespace tallystick::cli
