// The dialects of the tree, sorted by name, for the targets that choose one by a byte. `kind`: "line" (a
// pattern), "fixed" (columns), "binary", "registers", or "" for all of them.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "drivers/decode/dialect.hpp"

namespace tallystick::fuzz {

inline std::string kind_of(const std::string& toml) {
  const auto has = [&](const char* section) {
    return toml.find(std::string("\n[") + section) != std::string::npos;
  };
  return has("binary") ? "binary" : has("columns") ? "fixed" : has("modbus") ? "registers" : "line";
}

inline std::vector<std::shared_ptr<const Dialect>> all_dialects(const std::string& kind = "") {
  std::map<std::string, std::shared_ptr<const Dialect>> by_name;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(TALLYSTICK_SOURCE_DIR) + "/config/dialects")) {
    if (!entry.path().filename().string().ends_with(".dialect.toml")) continue;
    std::ifstream in(entry.path());
    const std::string toml{std::istreambuf_iterator<char>(in), {}};
    if (!kind.empty() && kind_of(toml) != kind) continue;
    auto read = read_dialect(toml, entry.path().string());
    if (!read) std::abort();
    const auto name = read->name;  // the right side of the assignment comes first, and moves it away
    by_name[name] = std::make_shared<const Dialect>(*std::move(read));
  }
  std::vector<std::shared_ptr<const Dialect>> out;
  for (const auto& [name, dialect] : by_name) out.push_back(dialect);
  if (out.empty()) std::abort();
  return out;
}

}  // namespace tallystick::fuzz
