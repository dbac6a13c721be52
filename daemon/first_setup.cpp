#include "daemon/first_setup.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "daemon/record/configuration_files.hpp"
#include "daemon/record/folder.hpp"
#include "daemon/toml_text.hpp"

namespace tallystick {
namespace {

namespace files = std::filesystem;

std::string port_text(const FirstPort& port) {
  return "\n[[port]]\nid = " + toml_text(port.id) + "\npath = " + toml_text(port.path) +
         "\ndialect = " + toml_text(port.dialect) +
         "\n\n# The gauge at this port: fill in what stands on it, take the # away, then run: tallystick "
         "reload\n"
         "# [[gauge]]\n# id = " +
         toml_text(port.id) + "\n# name = " + toml_text(port.id) +
         "\n# kind = \"outside-micrometer\"        # the word that checklists use for gauge_kind\n"
         "# bench = \"bench-1\"\n# port = " +
         toml_text(port.id) +
         "\n# unit = \"mm\"                        # what it shows\n"
         "# range_lower = \"25\"                 # sizes that it can measure\n# range_upper = \"50\"\n"
         "# resolution = \"0.001\"               # its step\n"
         "# reads = \"size\"                     # size | difference (value = master's size + reading)\n"
         "# speaks = \"pushed\"                  # pushed (its button) | asked | streams, as its dialect has "
         "it\n";
}

Error with_remedy(Error error) {
  error.hint = "let the daemon's user write there, or paste the lines into the file yourself";
  return error;
}

void sync_folder(const files::path& folder) {
  if (const int opened = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC); opened >= 0) {
    ::fsync(opened);
    ::close(opened);
  }
}

}  // namespace

std::string setup_text(const FirstSetup& setup) {
  std::string out =
      "# Tallystick: the configuration of this shop, begun on the setup page. Every key is explained in the "
      "example\n"
      "# tallystick.toml among the documents. After a change: tallystick check FOLDER, then tallystick "
      "reload.\n\n"
      "dialect_folders = [";
  for (std::size_t at = 0; at < setup.dialect_folders.size(); ++at)
    out += (at ? ", " : "") + toml_text(setup.dialect_folders[at]);
  out += "]\n# Families of parts, each with its size table and drawing.\nfamilies = []\n\n[shop]\nname = " +
         toml_text(setup.shop) + "\n\n[daemon]\nport = " + std::to_string(setup.port) +
         "\ndata = " + toml_text(setup.data) +
         "   # the record; never on a network share\n\n[[bench]]\nid = \"bench-1\"\nname = " +
         toml_text(setup.bench) + "\n";
  if (!setup.person.empty()) out += "\n[[person]]\nname = " + toml_text(setup.person) + "\nrole = \"lead\"\n";
  out +=
      "\n# Reasons are chosen from these lists, never typed at the bench.\n[reasons]\n"
      "retake = [\"part or gauge was not clean\", \"gauge slipped\", \"wrong place\", \"wrong part\"]\n"
      "pass_over = [\"gauge not available\", \"measured elsewhere\"]\n"
      "publish = [\"new size\", \"print revised\", \"gauge changed\"]\n";
  for (const auto& port : setup.ports) out += port_text(port);
  return out;
}

Done write_first(const files::path& file, const std::string& text, std::vector<checklist::Fault>& faults) {
  const auto already = [&] {
    return fail("configured_already", "there is a file " + file.string(), file.string(),
                "change it, then run: tallystick reload");
  };
  std::error_code code;
  if (files::exists(files::symlink_status(file, code))) return already();
  const auto folder = file.parent_path();
  files::create_directories(folder, code);
  const files::path beside = folder / (".first-setup-" + std::to_string(::getpid()) + ".toml");
  if (auto done = record::write_durably(beside, text); !done)
    return tl::unexpected(with_remedy(done.error()));
  const auto loaded = record::load_configuration(beside);
  Done result;
  if (!loaded)
    result = tl::unexpected(loaded.error());
  else {
    for (auto fault : loaded->faults) {
      fault.file = file.filename().string();
      faults.push_back(std::move(fault));
    }
    if (!checklist::sound(faults))
      result = fail("wrong_shape", "the lines have faults", file.string(), faults.front().remedy);
  }
  // A link never replaces a file that came meanwhile, as a rename would.
  if (result && ::link(beside.c_str(), file.c_str()) != 0)
    result = errno == EEXIST
                 ? Done(already())
                 : tl::unexpected(with_remedy(
                       {"cannot_write", std::string("cannot give the file its name: ") + std::strerror(errno),
                        file.string(), ""}));
  ::unlink(beside.c_str());
  sync_folder(folder);
  return result;
}

}  // namespace tallystick
