#include "drivers/ports/folder_state.hpp"

#include <openssl/evp.h>

#include <array>
#include <boost/json.hpp>

#include "drivers/ports/recent.hpp"

namespace tallystick::ports {
namespace {

namespace json = boost::json;
constexpr int format = 1;

json::array texts(const std::vector<std::string>& from) {
  json::array out;
  for (const auto& one : from) out.emplace_back(one);
  return out;
}

/// Throws what Boost.JSON throws where the value is of another kind.
std::vector<std::string> texts_of(const json::value& from) {
  std::vector<std::string> out;
  for (const auto& one : from.as_array()) out.emplace_back(one.as_string());
  return out;
}

FileTaken file_of(const json::object& from) {
  FileTaken out;
  out.name = from.at("name").as_string();
  out.inode = static_cast<std::uint64_t>(from.at("inode").as_int64());
  out.size = from.at("size").as_int64();
  out.modified_ns = from.at("modified_ns").as_int64();
  out.taken = from.at("taken").as_int64();
  out.print = from.at("print").as_string();
  out.open_end = from.at("open_end").as_bool();
  out.lines = texts_of(from.at("lines"));
  out.all_lines = from.at("all_lines").as_int64();
  out.seen = from.at("seen").as_int64();
  return out;
}

}  // namespace

std::string sha256_of(std::string_view bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned size = 0;
  EVP_Digest(bytes.data(), bytes.size(), digest.data(), &size, EVP_sha256(), nullptr);
  return hex({reinterpret_cast<const char*>(digest.data()), size});
}

std::string state_text(const FolderState& state) {
  json::array files;
  for (const auto& one : state.files)
    files.push_back({{"name", one.name},
                     {"inode", static_cast<std::int64_t>(one.inode)},
                     {"size", one.size},
                     {"modified_ns", one.modified_ns},
                     {"taken", one.taken},
                     {"print", one.print},
                     {"open_end", one.open_end},
                     {"lines", texts(one.lines)},
                     {"all_lines", one.all_lines},
                     {"seen", one.seen}});
  return json::serialize(json::object{{"format", format},
                                      {"look", state.look},
                                      {"files", std::move(files)},
                                      {"contents", texts(state.contents)}}) +
         "\n";
}

Expected<FolderState> read_state(std::string_view text, const std::string& file) {
  const auto unread = [&](const std::string& why) {
    return fail("cannot_read", "it cannot be read what was taken from the folder before: " + why, file,
                "move this file away: all files that are in the folder then count as taken");
  };
  json::error_code code;
  const auto value = json::parse({text.data(), text.size()}, code);
  if (code) return unread(code.message());
  try {
    const auto& object = value.as_object();
    if (object.at("format").as_int64() != format) return unread("it is of another format");
    FolderState out;
    out.look = object.at("look").as_int64();
    for (const auto& one : object.at("files").as_array()) out.files.push_back(file_of(one.as_object()));
    out.contents = texts_of(object.at("contents"));
    return out;
  } catch (const std::exception& error) {
    return unread(error.what());
  }
}

}  // namespace tallystick::ports
