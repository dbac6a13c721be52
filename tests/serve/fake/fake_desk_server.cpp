// The server and the pages with no desk behind them: each bench of a file of views stands still in one state, so that
// every state of the page can be looked at. For people who work on the pages, and for the tests in tests/browser.
//
//   fake_desk_server PAGES_FOLDER VIEWS.json DRAWING.svg [PORT]
//
// A command {"kind":"show","view":{...}} puts those members into the bench's view; every other command is printed and
// answered with {}.
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "daemon/checklist/edition.hpp"
#include "tests/serve/fake_desk.hpp"

using namespace tallystick;
namespace json = boost::json;

namespace {

std::string content_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

Stamp now() {
  const auto utc = std::chrono::system_clock::now().time_since_epoch();
  const auto steady = std::chrono::steady_clock::now().time_since_epoch();
  return {std::chrono::duration_cast<std::chrono::microseconds>(utc).count(),
          std::chrono::duration_cast<std::chrono::nanoseconds>(steady).count(), "", "trusted"};
}

}  // namespace

int main(int count, char** arguments) {
  if (count < 4) {
    std::fprintf(stderr, "fake_desk_server PAGES_FOLDER VIEWS.json DRAWING.svg [PORT]\n");
    return 2;
  }
  std::vector<std::pair<std::string, std::string>> files;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(arguments[1]))
    if (entry.is_regular_file())
      files.emplace_back(std::filesystem::relative(entry.path(), arguments[1]).string(), content_of(entry.path()));
  const auto drawing = content_of(arguments[3]);

  boost::asio::io_context io;
  test::FakeDesk desk;
  boost::system::error_code code;
  auto given = json::parse(content_of(arguments[2]), code);
  if (code || !given.is_object()) {
    std::fprintf(stderr, "%s: %s\n", arguments[2], code ? code.message().c_str() : "not an object");
    return 2;
  }
  for (const auto& member : given.at("lists").as_object()) desk.lists[member.key()] = member.value();
  const auto common = given.at("common").as_object();
  for (const auto& member : given.at("benches").as_object()) {
    desk.set(member.key(), common);
    desk.set(member.key(), member.value().as_object());
  }
  desk.notes_told = false;
  desk.answer = [&](const walk::Command& command, walk::Answered answered) {
    if (command.kind == "show" && command.body.contains("view")) {
      desk.set(command.bench, command.body.at("view").as_object());
    } else {
      std::printf("%s %s %s\n", command.bench.c_str(), command.kind.c_str(), json::serialize(command.body).c_str());
      std::fflush(stdout);
    }
    answered(json::object{{"lot", "lot-1"}, {"walk", "walk-1"}});
  };

  serve::Surroundings around;
  around.clock = now;
  around.version = "0";
  for (const auto& [name, bytes] : files) around.files.push_back({name, bytes});
  around.drawing = [&](const std::string&) -> Expected<serve::Answer> {
    serve::Answer answer;
    answer.media_type = "image/svg+xml";
    answer.body = drawing;
    return answer;
  };
  around.page = given.at("page").as_object();
  around.faults = [&] { return given.at("faults").as_array(); };
  serve::ServeConfig config;
  config.port = static_cast<std::uint16_t>(count > 4 ? std::stoi(arguments[4]) : 0);
  auto server = serve::Server::start(io, config, desk, std::move(around));
  if (!server) {
    std::fprintf(stderr, "%s\n", text(server.error()).c_str());
    return 1;
  }
  std::printf("http://127.0.0.1:%d/\n", (*server)->port());
  std::fflush(stdout);
  io.run();
}
