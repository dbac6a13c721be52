// Reads a configuration whole from disk: tallystick.toml, its dialects, families with their size tables and
// drawings. Reading changes no byte. What is sound can be served although other things are not.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "daemon/checklist/family.hpp"
#include "daemon/shop/shop_config.hpp"
#include "drivers/decode/dialect.hpp"

namespace tallystick::record {

struct Configuration {
  std::filesystem::path file;               ///< absolute
  shop::ShopConfig shop;                    ///< paths in it are absolute
  std::map<std::string, Dialect> dialects;  ///< by name
  std::map<std::string, std::string> dialect_digests;  ///< SHA-256 of each one's text, by name
  std::vector<checklist::Family> families;  ///< with the editions worked out (number 0: not yet published)
  std::map<std::string, std::string> drawings;  ///< SVG bytes by SHA-256
  std::vector<checklist::Fault> faults;         ///< of all files, by file and line

  /// Every sound worked-out edition of every family, in order.
  std::vector<checklist::Edition> editions() const;
};

/// What is read besides tallystick.toml.
struct Parts {
  bool dialects = true;  ///< false: a safe start; ports and gauges then stand as they are written
};

/// The file that is meant by `file`: a *.toml is itself, anything else is the folder of a tallystick.toml. Absolute.
std::filesystem::path configuration_file(const std::filesystem::path& file);

/// `file`: a tallystick.toml, or the folder that holds one. Never fails as a whole but for a file that cannot
/// be read or is no TOML: Error "cannot_read". Blocking; any thread.
Expected<Configuration> load_configuration(const std::filesystem::path& file, Parts parts = {});

/// One family alone, held against no register. `table`: stands in for the size table's bytes. Error
/// "cannot_read".
Expected<checklist::Family> load_family_file(const std::filesystem::path& file,
                                             std::vector<checklist::Fault>& faults,
                                             const std::string* table = nullptr);

/// A file of a configuration, at most 16 MiB. Error "cannot_read" says why.
Expected<std::string> bytes_of_file(const std::filesystem::path& path);

}  // namespace tallystick::record
