// Which measurements are taken from a folder's files, and that each is taken once.
#include <doctest/doctest.h>
#include <fcntl.h>
#include <sys/stat.h>

#include <fstream>
#include <iterator>

#include "drivers/ports/folder_taker.hpp"
#include "port_rig.hpp"

using namespace tallystick;
using namespace tallystick::ports;

namespace {

constexpr std::int64_t ms = 1'000'000;

/// A folder, a taker that may be started anew, and a clock that moves when it is told.
struct Taking {
  test::Folder folder;
  FolderSettings settings;
  std::optional<FolderTaker> taker;
  std::int64_t now = 1'000 * ms, written = 1'700'000'000;
  bool disk_is_full = false;
  int kept = 0;
  std::optional<std::chrono::milliseconds> again;
  std::vector<std::string> warnings;

  explicit Taking(FolderSettings how = {}) : settings(std::move(how)) {
    settings.files = "*.csv";
    start();
  }
  void start() {
    taker.emplace(folder / "", settings, folder / "state.json", [this](const auto& file, std::string_view bytes) {
      if (disk_is_full) return Done(fail("cannot_write", "no space is left"));
      ++kept;
      std::ofstream(file, std::ios::binary) << bytes;
      return Done();
    });
  }
  /// Each writing has a time of its own, as on a disk.
  void stamp(std::string_view name) {
    const timespec times[2] = {{++written, 0}, {written, 0}};
    REQUIRE(::utimensat(AT_FDCWD, (folder / name).c_str(), times, 0) == 0);
  }
  void append(std::string_view name, std::string_view text) {
    std::ofstream(folder / name, std::ios::binary | std::ios::app) << text;
    stamp(name);
  }
  void write(std::string_view name, std::string_view text) {
    std::ofstream(folder / name, std::ios::binary | std::ios::trunc) << text;
    stamp(name);
  }
  /// As editors and careful programs do.
  void replace(std::string_view name, std::string_view text) {
    write("draft.tmp", text);
    std::filesystem::rename(folder / "draft.tmp", folder / name);
  }
  void rename(std::string_view from, std::string_view to) { std::filesystem::rename(folder / from, folder / to); }
  std::string content(std::string_view name) const {
    std::ifstream in(folder / name, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }
  /// What a look takes: "1|2", without line ends; a "!" stands before what is no measurement.
  std::string look() {
    auto seen = taker->look(now);
    if (!seen) return "error " + seen.error().code;
    again = seen->again_after;
    warnings = seen->warnings;
    std::string out;
    for (const auto& piece : seen->pieces) {
      std::string text = piece.bytes;
      while (!text.empty() && (text.back() == '\n' || text.back() == '\r')) text.pop_back();
      out += (out.empty() ? "" : "|") + std::string(piece.rest || !piece.unreadable.empty() ? "!" : "") + text;
    }
    return out;
  }
  std::string look_after(std::int64_t milliseconds) {
    now += milliseconds * ms;
    return look();
  }
};

FolderSettings whole(int settle_ms = 100, bool same_again = false) {
  FolderSettings out;
  out.whole = true;
  out.settle = std::chrono::milliseconds(settle_ms);
  out.same_again = same_again;
  return out;
}

}  // namespace

TEST_CASE("what is there at the first look ever is old; lines that come are taken once each, also over a restart") {
  Taking taking;
  taking.append("a.csv", "1\n2\n");
  CHECK(taking.look() == "");
  taking.append("a.csv", "3\n4\r\n");
  CHECK(taking.look() == "3|4");
  CHECK(taking.look() == "");
  taking.start();
  CHECK(taking.look() == "");
  taking.append("a.csv", "5\n");
  taking.write("b.csv", "6\n");  // a new file: all of it
  taking.write("c.txt", "7\n");  // not asked for
  taking.write(".d.csv", "8\n");
  taking.start();
  CHECK(taking.look() == "5|6");
  CHECK(taking.look() == "");
}

TEST_CASE("nothing is written where nothing came") {
  Taking taking;
  taking.append("a.csv", "1\n");
  CHECK(taking.look() == "");
  const int kept = taking.kept;
  for (int n = 0; n < 10; ++n) CHECK(taking.look() == "");
  CHECK(taking.kept == kept);
}

TEST_CASE("a line that is partly written waits for its end") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("a.csv", "12.3");
  CHECK(taking.look_after(60'000) == "");
  CHECK_FALSE(taking.again.has_value());
  taking.append("a.csv", "45\n6");
  CHECK(taking.look() == "12.345");
  taking.append("a.csv", "\n");
  CHECK(taking.look() == "6");
}

TEST_CASE("with a settle time a last line counts without its end, and what follows it is no measurement") {
  FolderSettings settings;
  settings.settle = std::chrono::milliseconds(100);
  Taking taking(settings);
  CHECK(taking.look() == "");
  taking.append("a.csv", "12.3");
  CHECK(taking.look() == "");
  CHECK(taking.again.has_value());
  taking.append("a.csv", "45");
  CHECK(taking.look_after(90) == "");
  CHECK(taking.look_after(90) == "");
  CHECK(taking.look_after(20) == "12.345");
  CHECK(taking.look_after(1000) == "");
  taking.append("a.csv", "\n7\n");
  CHECK(taking.look() == "7");
  taking.append("a.csv", "8");
  CHECK(taking.look() == "");
  CHECK(taking.look_after(110) == "8");
  taking.append("a.csv", "9\n10\n");
  CHECK(taking.look() == "!9|10");
}

TEST_CASE("renamed, moved, copied: known by its content") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("a.csv", "1\n2\n");
  CHECK(taking.look() == "1|2");
  taking.rename("a.csv", "b.csv");
  taking.append("b.csv", "3\n");
  CHECK(taking.look() == "3");
  taking.write("c.csv", taking.content("b.csv") + "4\n");
  CHECK(taking.look() == "4");
  taking.start();
  taking.rename("c.csv", "a.csv");
  CHECK(taking.look() == "");
  taking.append("d.csv", taking.content("a.csv") + "5\n");
  CHECK(taking.look() == "5");
  taking.rename("d.csv", "b.csv");  // in the place of another that was taken less far
  CHECK(taking.look() == "");
}

TEST_CASE("a file that was renamed away leaves its name to a new one, whose equal lines are new") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("day.csv", "1\n2\n");
  CHECK(taking.look() == "1|2");
  taking.rename("day.csv", "yesterday.csv");
  CHECK(taking.look() == "");
  taking.append("day.csv", "2\n");
  CHECK(taking.look() == "2");
}

TEST_CASE("written anew with the old lines in front, in place or by a rename") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("a.csv", "1\n2\n");
  CHECK(taking.look() == "1|2");
  taking.write("a.csv", "1\n2\n3\n");
  CHECK(taking.look() == "3");
  taking.replace("a.csv", "1\n2\n3\n4\n");
  CHECK(taking.look() == "4");
  taking.start();
  taking.replace("a.csv", "1\n2\n3\n4\n5\n");
  CHECK(taking.look() == "5");
}

TEST_CASE("shortened, changed in the middle, lines in another order: none comes twice") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("a.csv", "n\n1\n2\n3\n");
  CHECK(taking.look() == "n|1|2|3");
  taking.write("a.csv", "n\n1\n2\n");
  CHECK(taking.look() == "");
  taking.append("a.csv", "4\n");
  CHECK(taking.look() == "4");
  taking.write("a.csv", "n\n1\n2b\n4\n");
  CHECK(taking.look() == "2b");
  taking.write("a.csv", "N\n4\n3\n2\n1\n");
  CHECK(taking.look() == "N");
  taking.start();
  taking.write("a.csv", "5\n4\n4\n");
  CHECK(taking.look() == "5|4");  // twice now, once before
}

TEST_CASE("emptied it begins anew: equal lines are new measurements") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("a.csv", "1\n2\n");
  CHECK(taking.look() == "1|2");
  taking.write("a.csv", "");
  CHECK(taking.look() == "");
  taking.append("a.csv", "1\n");
  CHECK(taking.look() == "1");
}

TEST_CASE("a file that is longer than can be compared counts as taken when it is written anew, with a warning") {
  Taking taking;
  CHECK(taking.look() == "");
  std::string lines;
  for (int n = 0; n < 3000; ++n) lines += std::to_string(n) + "\n";
  taking.write("a.csv", lines);
  CHECK(taking.look().size() > 10'000);
  taking.append("a.csv", "x\n");
  CHECK(taking.look() == "x");  // its beginning is the same
  taking.write("a.csv", "y\n" + lines);
  CHECK(taking.look() == "");
  CHECK(taking.warnings.size() == 1);
  taking.append("a.csv", "z\n");
  CHECK(taking.look() == "z");
}

TEST_CASE("UTF-16 and a byte order mark") {
  Taking taking;
  CHECK(taking.look() == "");
  const std::string one("\xFF\xFE" "1\0\n\0" "2\0", 8), rest("\n\0", 2);
  taking.append("a.csv", one);
  auto seen = taking.taker->look(taking.now);
  REQUIRE(seen.has_value());
  REQUIRE(seen->pieces.size() == 1);
  CHECK(seen->pieces[0].bytes == std::string("1\0\n\0", 4));
  CHECK(seen->pieces[0].encoding == TextEncoding::utf16_low_first);
  taking.append("a.csv", rest);
  seen = taking.taker->look(taking.now);
  REQUIRE(seen.has_value());
  REQUIRE(seen->pieces.size() == 1);
  CHECK(seen->pieces[0].bytes == std::string("2\0\n\0", 4));
}

TEST_CASE("nothing is given out that could not be kept, and nothing is lost by it") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("a.csv", "1\n");
  taking.disk_is_full = true;
  CHECK(taking.look() == "error cannot_write");
  CHECK(taking.look() == "error cannot_write");
  taking.disk_is_full = false;
  CHECK(taking.look() == "1");
  CHECK(taking.look() == "");
}

TEST_CASE("a state that cannot be read, a folder that is not there") {
  Taking taking;
  CHECK(taking.look() == "");
  taking.append("a.csv", "1\n");
  CHECK(taking.look() == "1");
  const auto good = taking.content("state.json");
  for (const auto* broken : {"", "{", "{}", "[1]", "{\"format\":2,\"look\":1,\"files\":[],\"contents\":[]}"}) {
    std::ofstream(taking.folder / "state.json", std::ios::trunc) << broken;
    taking.start();
    CHECK(taking.look() == "error cannot_read");
  }
  std::ofstream(taking.folder / "state.json", std::ios::trunc) << good;
  taking.start();
  CHECK(taking.look() == "");
  FolderTaker nowhere(taking.folder / "none", {}, {}, {});
  CHECK(nowhere.look(0).error().code == "port_absent");
}

TEST_CASE("whole files: taken once each is written, whatever its name") {
  Taking taking(whole());
  taking.write("0.csv", "0\n");
  CHECK(taking.look() == "");
  taking.write("1.csv", "1");
  CHECK(taking.look_after(10) == "");
  REQUIRE(taking.again.has_value());
  taking.append("1.csv", "2\n");  // still being written
  CHECK(taking.look_after(99) == "");
  CHECK(taking.look_after(99) == "");
  CHECK(taking.look_after(2) == "12");
  CHECK(taking.look_after(1000) == "");
  taking.rename("1.csv", "2.csv");
  taking.write("3.csv", "12\n");  // a copy
  CHECK(taking.look() == "");
  CHECK(taking.look_after(200) == "");
  taking.start();
  CHECK(taking.look() == "");
  CHECK(taking.look_after(200) == "");
  taking.write("2.csv", "13\n");  // written over
  CHECK(taking.look() == "");
  CHECK(taking.look_after(101) == "13");
  taking.write("4.csv", "");  // nothing in it
  CHECK(taking.look_after(10) == "");
  CHECK(taking.look_after(500) == "");
}

TEST_CASE("a file that is written over with the same text is another measurement only where the shop says so") {
  for (const bool again : {false, true}) {
    Taking taking(whole(100, again));
    CHECK(taking.look() == "");
    taking.write("last.csv", "25.001\n");
    CHECK(taking.look() == "");
    CHECK(taking.look_after(101) == "25.001");
    taking.write("last.csv", "25.001\n");
    CHECK(taking.look() == "");
    CHECK(taking.look_after(101) == (again ? "25.001" : ""));
    CHECK(taking.look_after(101) == "");
    taking.write("copy.csv", "25.001\n");  // a copy is none
    CHECK(taking.look() == "");
    CHECK(taking.look_after(101) == "");
  }
}
