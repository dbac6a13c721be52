// The tables of tests/reference/data: RFC 4180, with lines of source and licence ("# ...") before the header.
#pragma once

#include <fstream>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

namespace reference {

/// One record of a CSV file; quoted cells may hold commas and doubled quotes, no line ends.
inline std::vector<std::string> cells(const std::string& line) {
  std::vector<std::string> out(1);
  bool quoted = false;
  for (std::size_t i = 0; i < line.size(); ++i) {
    const char c = line[i];
    if (c == '"' && quoted && i + 1 < line.size() && line[i + 1] == '"') {
      out.back() += line[++i];
    } else if (c == '"') {
      quoted = !quoted;
    } else if (c == ',' && !quoted) {
      out.emplace_back();
    } else if (c != '\r') {
      out.back() += c;
    }
  }
  return out;
}

using Row = std::map<std::string, std::string>;

inline std::vector<Row> rows(const std::string& name) {
  std::ifstream file(std::string(TALLYSTICK_SOURCE_DIR) + "/tests/reference/data/" + name);
  std::vector<std::string> header;
  std::vector<Row> out;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || (header.empty() && line.front() == '#')) continue;
    const auto found = cells(line);
    if (header.empty()) {
      header = found;
      continue;
    }
    if (found.size() != header.size()) throw std::runtime_error(name + ": a row of another length: " + line);
    Row row;
    for (std::size_t i = 0; i < header.size(); ++i) row[header[i]] = found[i];
    out.push_back(row);
  }
  if (out.empty()) throw std::runtime_error(name + ": no rows");
  return out;
}

}  // namespace reference
