#include "daemon/gauge_addition.hpp"

#include <unistd.h>

#include <algorithm>

#include "daemon/record/configuration_files.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/toml_text.hpp"

namespace tallystick {
namespace {

namespace files = std::filesystem;

/// Goes again with the last who holds it.
struct Passing {
  files::path file;
  ~Passing() {
    std::error_code code;
    if (!file.empty()) files::remove(file, code);
  }
};

Expected<files::path> place_for(const record::Configuration& configuration, const std::string& dialect) {
  if (configuration.dialects.contains(dialect))
    return fail("dialect_exists", "the configuration has a dialect \"" + dialect + "\" already", "dialect",
                "give the new one another name");
  for (const auto& folder : configuration.shop.dialect_folders) {
    if (::access(folder.c_str(), W_OK) != 0) continue;
    files::path file = files::path(folder) / (dialect + ".dialect.toml");
    std::error_code code;
    if (files::exists(files::symlink_status(file, code)))
      return fail("dialect_exists", "there is a file " + file.string() + ", and it is left as it is",
                  file.string(), "give the new dialect another name");
    return file;
  }
  return fail("cannot_write", "the daemon may write in none of the dialect folders",
              configuration.file.string(),
              "name a folder of your own in dialect_folders that the daemon's user may write to, or save the "
              "dialect's "
              "text there yourself");
}

/// The configuration as it would be, read from a file beside it.
Done check_whole(const files::path& file, const std::string& text, std::vector<checklist::Fault>& faults) {
  const Passing beside{file.parent_path() / (".with-gauge-" + std::to_string(::getpid()) + ".toml")};
  if (auto done = record::write_durably(beside.file, text); !done) {
    auto error = done.error();
    error.hint = "let the daemon's user write there, or put the lines behind the configuration yourself";
    return tl::unexpected(std::move(error));
  }
  const auto loaded = record::load_configuration(beside.file);
  if (!loaded) return tl::unexpected(loaded.error());
  for (auto fault : loaded->faults) {
    if (fault.severity != checklist::Severity::fault) continue;
    if (fault.file == beside.file.filename()) fault.file = file.filename().string();
    faults.push_back(std::move(fault));
  }
  if (faults.empty()) return {};
  return fail("configuration_faults", "with these lines the configuration has faults; nothing was changed",
              faults.front().file, faults.front().remedy);
}

}  // namespace

std::string addition_text(const GaugeAddition& addition) {
  const auto& gauge = addition.gauge;
  const auto line = [](const char* key, const std::string& text) {
    return std::string(key) + " = " + toml_text(text) + "\n";
  };
  std::string out = "\n# Found by pressing its button.\n[[port]]\n" + line("id", gauge.id) +
                    line("path", addition.path) + line("dialect", addition.dialect) + "\n[[gauge]]\n" +
                    line("id", gauge.id) + line("name", gauge.name) + line("kind", gauge.kind) +
                    line("bench", gauge.bench) + line("port", gauge.id);
  if (!gauge.channel.empty()) out += line("channel", gauge.channel);
  return out + line("unit", gauge.unit) + line("range_lower", gauge.range_lower) +
         line("range_upper", gauge.range_upper) + line("resolution", gauge.resolution) +
         line("reads", gauge.reads) + line("speaks", gauge.speaks);
}

Done add_gauge(const files::path& configuration, const GaugeAddition& addition, bool write, AddedGauge& out) {
  std::error_code code;
  // A link stays a link: what it leads to is replaced.
  files::path file = files::canonical(record::configuration_file(configuration), code);
  if (code) file = record::configuration_file(configuration);
  out.file = file.string();
  out.lines = addition_text(addition);
  const auto before = record::bytes_of_file(file);
  if (!before) return tl::unexpected(before.error());
  const auto loaded = record::load_configuration(file);
  if (!loaded) return tl::unexpected(loaded.error());
  Passing new_dialect;
  if (!addition.dialect_text.empty()) {
    const auto place = place_for(*loaded, addition.dialect);
    if (!place) return tl::unexpected(place.error());
    if (auto done = record::write_durably(*place, addition.dialect_text); !done) return done;
    new_dialect.file = *place;
    files::permissions(*place, files::status(file, code).permissions(), code);
    out.dialect_file = place->string();
  }
  const std::string after = *before + (before->empty() || before->back() == '\n' ? "" : "\n") + out.lines;
  if (auto done = check_whole(file, after, out.faults); !done) return done;
  if (!write) return {};
  const auto again = record::bytes_of_file(file);
  if (!again || *again != *before)
    return fail("changed_meanwhile", "somebody changed the configuration meanwhile; nothing was written",
                file.string(), "look at the lines again, then write them");
  const auto mode = files::status(file, code).permissions();
  if (auto done = record::write_durably(file, after); !done) return done;
  files::permissions(file, mode, code);
  new_dialect.file.clear();  // it stays
  return {};
}

}  // namespace tallystick
