#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <ostream>

#include "tools/cli/client_commands.hpp"

namespace tallystick::cli {
namespace {

namespace files = std::filesystem;

// Beside the program, where a package puts its own scripts, or in the tree that the program was built in.
std::vector<files::path> places() {
  std::vector<files::path> out;
  if (const char* told = std::getenv("TALLYSTICK_TOOLS")) out.emplace_back(told);
  std::error_code code;
  const auto program = files::read_symlink("/proc/self/exe", code);
  if (code) return out;
  const auto folder = program.parent_path();
  out.push_back(folder);
  out.push_back(folder.parent_path() / "libexec" / "tallystick");
  for (auto above = folder; above != above.root_path(); above = above.parent_path())
    out.push_back(above / "tools");
  return out;
}

}  // namespace

int simulate(const SimulateOptions& options, Streams streams) {
  std::string looked;
  for (const auto& place : places()) {
    const auto script = place / "simulate-gauges";
    looked += (looked.empty() ? "" : ", ") + place.string();
    if (::access(script.c_str(), X_OK) != 0) continue;
    std::vector<std::string> words{script.string()};
    words.insert(words.end(), options.arguments.begin(), options.arguments.end());
    std::vector<char*> raw;
    for (auto& word : words) raw.push_back(word.data());
    raw.push_back(nullptr);
    streams.out.flush();
    ::execv(script.c_str(), raw.data());
    return say({"cannot_start", std::strerror(errno), script.string(), "it needs /usr/bin/python3"}, false,
               streams, status::not_done);
  }
  return say({"no_simulator",
              "simulate-gauges is in none of " + looked,
              {},
              "say with the environment's TALLYSTICK_TOOLS which folder holds it"},
             false, streams, status::not_done);
}

}  // namespace tallystick::cli
