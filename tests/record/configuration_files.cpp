// A configuration whole from disk: the demo's is sound, and what is broken in a copy of it is told and left
// out.
#include "daemon/record/configuration_files.hpp"

#include <doctest/doctest.h>

#include <cstdlib>
#include <fstream>
#include <iterator>

using namespace tallystick;
namespace files = std::filesystem;

namespace {

const files::path config_folder = files::path(TALLYSTICK_SOURCE_DIR) / "config";

/// A copy of config/ that ends with its test.
class Copy {
 public:
  Copy() {
    std::string name = (files::temp_directory_path() / "tallystick-config-XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    folder_ = name;
    files::copy(config_folder, folder_ / "config", files::copy_options::recursive);
  }
  ~Copy() {
    std::error_code code;
    files::remove_all(folder_, code);
  }
  files::path demo() const { return folder_ / "config/demo"; }
  void change(const files::path& file, const std::string& before, const std::string& after) const {
    auto text = *record::bytes_of_file(file);
    const auto at = text.find(before);
    REQUIRE(at != std::string::npos);
    std::ofstream(file, std::ios::binary) << text.replace(at, before.size(), after);
  }

 private:
  files::path folder_;
};

std::string places(const record::Configuration& loaded) {
  std::string out;
  for (const auto& fault : loaded.faults) out += (out.empty() ? "" : "; ") + fault.file + " " + fault.code;
  return out;
}

}  // namespace

TEST_CASE("the demo shop's configuration is sound, and reading it changes no byte") {
  std::map<std::string, std::string> before;
  for (const auto& entry : files::directory_iterator(config_folder / "demo"))
    if (entry.is_regular_file()) before[entry.path()] = *record::bytes_of_file(entry.path());
  const auto loaded = record::load_configuration(config_folder / "demo");
  REQUIRE(loaded);
  for (const auto& fault : loaded->faults) MESSAGE(text(fault));
  CHECK(loaded->faults.empty());
  CHECK(loaded->editions().size() == 10);
  CHECK(loaded->shop.gauges.size() >= 5);
  CHECK(loaded->dialects.size() >= 6);
  for (const auto& edition : loaded->editions()) CHECK(loaded->drawings.contains(edition.drawing));
  for (const auto& port : loaded->shop.ports) CHECK(files::path(port.path).is_absolute());
  for (const auto& [path, bytes] : before) CHECK(*record::bytes_of_file(path) == bytes);
}

TEST_CASE("the annotated example configuration is sound") {
  const auto loaded = record::load_configuration(config_folder / "tallystick.toml");
  REQUIRE(loaded);
  for (const auto& fault : loaded->faults) MESSAGE(text(fault));
  CHECK(loaded->faults.empty());
}

TEST_CASE("a port with an unknown dialect is left out with its gauges; the others serve") {
  const Copy copy;
  copy.change(copy.demo() / "tallystick.toml", "dialect = \"asked-line\"", "dialect = \"askd-line\"");
  const auto loaded = record::load_configuration(copy.demo());
  REQUIRE(loaded);
  CHECK(places(*loaded).find("tallystick.toml unknown_dialect") != std::string::npos);
  const auto is_height = [](const auto& one) { return one.id == "height-gauge"; };
  CHECK(std::none_of(loaded->shop.ports.begin(), loaded->shop.ports.end(), is_height));
  CHECK(std::none_of(loaded->shop.gauges.begin(), loaded->shop.gauges.end(), is_height));
  CHECK(loaded->shop.gauges.size() >= 10);
}

TEST_CASE("a gauge is held against its dialect") {
  const auto changed = [](const std::string& before, const std::string& after) {
    const Copy copy;
    copy.change(copy.demo() / "tallystick.toml", before, after);
    return places(*record::load_configuration(copy.demo()));
  };
  CHECK(changed("speaks = \"asked\"", "speaks = \"pushed\"").find("tallystick.toml contradiction") !=
        std::string::npos);
  CHECK(changed("channel = \"03\"\n", "").find("tallystick.toml") != std::string::npos);
  CHECK(changed("port = \"groove-gauge\"\n", "port = \"groove-gauge\"\nchannel = \"1\"\n")
            .find("tallystick.toml contradiction") != std::string::npos);
  CHECK(changed("unit = \"in\"\nunit_fixed = true", "unit = \"mm\"\nunit_fixed = true")
            .find("tallystick.toml") != std::string::npos);
  CHECK(changed("unit_fixed = true             # no key", "# no key").find("fb.family.toml unit_unseen") !=
        std::string::npos);
}

TEST_CASE("a broken dialect and a broken family are told by file, and nothing else suffers") {
  const Copy copy;
  copy.change(copy.demo().parent_path() / "dialects/asked-line.dialect.toml", "speaks", "speks");
  copy.change(copy.demo() / "fb.sizes.csv", "FB-40,A", "FB-4O 1,A");
  const auto loaded = record::load_configuration(copy.demo());
  REQUIRE(loaded);
  CHECK(places(*loaded).find("asked-line.dialect.toml") != std::string::npos);
  CHECK(places(*loaded).find("fb.sizes.csv size_name") != std::string::npos);
  CHECK(loaded->editions().size() == 9);
}

TEST_CASE("what cannot be read is an error that names the file") {
  const auto none = record::load_configuration("/nowhere/tallystick.toml");
  REQUIRE_FALSE(none);
  CHECK(none.error().code == "cannot_read");
  CHECK(none.error().where == "/nowhere/tallystick.toml");
  const Copy copy;
  files::remove(copy.demo() / "fb.sizes.csv");
  CHECK(places(*record::load_configuration(copy.demo())).find("fb.family.toml cannot_read") !=
        std::string::npos);
}
