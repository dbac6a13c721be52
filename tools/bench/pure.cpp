#include "tools/bench/pure.hpp"

#include <cstdlib>
#include <fstream>
#include <iterator>

namespace tallystick::bench {

std::string text_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) give_up("cannot read " + file.string());
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace tallystick::bench

int main(int count, char** arguments) {
  using namespace tallystick::bench;
  if (count != 6 && count != 7) {
    std::fprintf(stderr, "usage: bench_pure ROOT FOLDER PAIRS BLOCK_MS EVENTS [decode|measure|walk|record]\n"
                         "(tools/bench/run calls it; the last word is for who profiles one of them)\n");
    return 2;
  }
  const Effort effort{std::atoi(arguments[3]), std::atoll(arguments[4]) * 1'000'000};
  const std::string only = count == 7 ? arguments[6] : "";
  if (only.empty() || only == "decode") decode_figures(arguments[1], effort);
  if (only.empty() || only == "measure") measure_figures(effort);
  if (only.empty() || only == "walk") walk_figures(effort);
  if (only.empty() || only == "record")
    record_figures(arguments[2], static_cast<std::size_t>(std::atoll(arguments[5])), effort);
  return 0;
}
