#include "drivers/ports/folder_taker.hpp"

#include <fcntl.h>
#include <fnmatch.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <iterator>
#include <set>

namespace tallystick::ports {
namespace {

namespace fs = std::filesystem;

constexpr std::int64_t print_part = 4096;
constexpr std::int64_t most_bytes = 16 << 20;  ///< of one file in one look
constexpr std::size_t longest_line = 64 << 10;
constexpr std::ptrdiff_t most_gone = 500;
constexpr std::size_t most_lines = 2000, most_contents = 4000;
constexpr std::size_t hash_digits = 16;

class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  Descriptor(const Descriptor&) = delete;
  int get() const { return number_; }

 private:
  int number_;
};

std::string line_hash(std::string_view line) { return sha256_of(line).substr(0, hash_digits); }

void remember_line(FileTaken& file, std::string hash) {
  file.lines.push_back(std::move(hash));
  ++file.all_lines;
  if (file.lines.size() > most_lines) file.lines.erase(file.lines.begin());
}

/// Nothing but an end.
bool is_blank(std::string_view line) {
  return std::all_of(line.begin(), line.end(), [](char c) { return c == '\r' || c == '\n' || c == '\0'; });
}

}  // namespace

FolderTaker::FolderTaker(fs::path folder, FolderSettings settings, fs::path state_file, Keep keep)
    : folder_(std::move(folder)),
      settings_(std::move(settings)),
      state_file_(std::move(state_file)),
      keep_(std::move(keep)) {}

Expected<FolderTaker::Look> FolderTaker::look(std::int64_t now) {
  if (auto done = load(); !done) return tl::unexpected<Error>(done.error());
  Look out;
  auto found = list(out);
  if (!found) return tl::unexpected<Error>(found.error());
  const FolderState before = *state_;
  ++state_->look;
  for (const auto& file : *found) settings_.whole ? take_whole(file, now, out) : take_lines(file, now, out);
  std::set<std::string> there;
  for (const auto& file : *found) there.insert(file.name);
  forget_old(there);
  std::erase_if(waiting_, [&](const auto& one) { return !there.contains(one.first); });
  if (state_->files == before.files && state_->contents == before.contents && !first_ever_) {
    state_->look = before.look;
    return out;
  }
  if (state_file_.empty()) {
    first_ever_ = false;
    return out;
  }
  if (auto done = keep_(state_file_, state_text(*state_)); !done) {
    state_ = before;
    return tl::unexpected<Error>(Error{"cannot_write", "what was taken cannot be kept, so nothing is taken: " +
                                                           done.error().what,
                                       state_file_.string(), "see that the disk is not full and who may write there"});
  }
  first_ever_ = false;
  return out;
}

Done FolderTaker::load() {
  if (state_) return {};
  std::error_code code;
  if (state_file_.empty() || (!fs::exists(state_file_, code) && !code)) {
    state_ = FolderState();
    first_ever_ = true;
    return {};
  }
  std::ifstream in(state_file_, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  auto read = read_state(text, state_file_.string());
  if (!read) return tl::unexpected<Error>(read.error());
  state_ = std::move(*read);
  return {};
}

Expected<std::vector<FolderTaker::Found>> FolderTaker::list(Look& out) const {
  std::vector<Found> found;
  std::error_code code;
  if (!fs::is_directory(folder_, code) && code != std::errc::permission_denied)
    return fail("port_absent", "there is no folder " + folder_.string(), {},
                "look at its name, and that its disk or share is mounted");
  fs::directory_iterator entry(folder_, code);
  if (code)
    return fail(code == std::errc::permission_denied ? "port_denied" : "port_failed",
                "the folder " + folder_.string() + " cannot be read: " + code.message(), {},
                "give the daemon's user the right to read it");
  for (; !code && entry != fs::directory_iterator(); entry.increment(code)) {
    const std::string name = entry->path().filename().string();
    if (::fnmatch(settings_.files.c_str(), name.c_str(), FNM_PERIOD) != 0) continue;
    if (!to_utf8(name, TextEncoding::utf8)) {
      out.warnings.push_back("a file's name is no UTF-8: it is left out");
      continue;
    }
    struct stat about {};
    if (::stat(entry->path().c_str(), &about) != 0 || !S_ISREG(about.st_mode)) continue;
    found.push_back({name, about.st_ino, about.st_size,
                     about.st_mtim.tv_sec * std::int64_t{1'000'000'000} + about.st_mtim.tv_nsec});
  }
  if (code) return fail("port_failed", "the folder " + folder_.string() + " cannot be read: " + code.message());
  std::sort(found.begin(), found.end(), [](const Found& a, const Found& b) {
    return a.modified_ns != b.modified_ns ? a.modified_ns < b.modified_ns : a.name < b.name;
  });
  return found;
}

std::optional<std::string> FolderTaker::bytes_of(const Found& found, std::int64_t from, std::int64_t to) const {
  const Descriptor file(::open((folder_ / found.name).c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
  if (file.get() < 0) return {};
  std::string out(static_cast<std::size_t>(std::max<std::int64_t>(to - from, 0)), '\0');
  std::size_t had = 0;
  while (had < out.size()) {
    const ssize_t got = ::pread(file.get(), out.data() + had, out.size() - had,
                                static_cast<off_t>(from) + static_cast<off_t>(had));
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return {};  // it shrank meanwhile: the next look sees it
    had += static_cast<std::size_t>(got);
  }
  return out;
}

/// Of the first `taken` bytes: their number, their beginning and their end. Empty where they cannot be read.
std::string FolderTaker::print_of(const Found& found, std::int64_t taken) const {
  const std::int64_t part = std::min(taken, print_part);
  const auto front = bytes_of(found, 0, part);
  const auto back = bytes_of(found, taken - part, taken);
  if (!front || !back) return {};
  return sha256_of(std::to_string(taken) + " " + *front + *back);
}

FileTaken* FolderTaker::known_by_name(const std::string& name) {
  const auto found = std::find_if(state_->files.begin(), state_->files.end(),
                                  [&](const auto& one) { return one.name == name; });
  return found == state_->files.end() ? nullptr : &*found;
}

/// A file under a new name: renamed, moved or copied, where its beginning is one that was taken.
FileTaken* FolderTaker::known_by_content(const Found& found) {
  FileTaken* best = nullptr;
  for (auto& one : state_->files) {
    if (one.taken == 0 || one.taken > found.size || (best != nullptr && one.taken <= best->taken)) continue;
    if (print_of(found, one.taken) == one.print) best = &one;
  }
  return best;
}

void FolderTaker::take_lines(const Found& found, std::int64_t now, Look& out) {
  FileTaken* known = known_by_name(found.name);
  const bool unchanged = known != nullptr && known->inode == found.inode && known->size == found.size &&
                         known->modified_ns == found.modified_ns;
  if (unchanged && !waiting_.contains(found.name)) return;
  if (known == nullptr) {
    FileTaken* same = known_by_content(found);
    if (same != nullptr && same->inode == found.inode) {
      same->name = found.name;  // renamed: what comes under the old name is another file
      known = same;
    } else {
      FileTaken fresh = same == nullptr ? FileTaken() : *same;
      fresh.name = found.name;
      if (same == nullptr) fresh.print = print_of(found, 0);
      state_->files.push_back(std::move(fresh));
      known = &state_->files.back();
    }
  }
  known->seen = state_->look;
  if (known->inode != found.inode) {
    // Another file took its place: perhaps one that was taken further under another name.
    const FileTaken* further = known_by_content(found);
    if (further != nullptr && further != known && further->taken > known->taken) {
      known->taken = further->taken;
      known->print = further->print;
      known->open_end = further->open_end;
      known->lines = further->lines;
      known->all_lines = further->all_lines;
    }
  }
  const bool goes_on = known->taken <= found.size && print_of(found, known->taken) == known->print;
  if (found.size == 0) {
    *known = FileTaken{found.name, found.inode, 0, found.modified_ns, 0, print_of(found, 0), false, {}, 0, state_->look};
  } else if (goes_on) {
    const auto content = bytes_of(found, known->taken, std::min(found.size, known->taken + most_bytes));
    if (!content) return;
    take_new_lines(*known, found, *content, now, out);
  } else {
    take_rewritten(*known, found, out);
  }
  known->inode = found.inode;
  known->size = found.size;
  known->modified_ns = found.modified_ns;
}

/// `content` begins where the last look ended.
void FolderTaker::take_new_lines(FileTaken& known, const Found& found, std::string_view content, std::int64_t now,
                                 Look& out) {
  const auto front = bytes_of(found, 0, std::min<std::int64_t>(found.size, 3));
  const auto encoding = encoding_of(front.value_or(std::string()), settings_.encoding);
  std::size_t at = known.taken == 0 ? std::min(encoding.mark, content.size()) : 0;
  const auto take = [&](std::size_t end, bool whole) {
    const std::string_view line = content.substr(at, end - at);
    at = end;
    const bool rest = std::exchange(known.open_end, !whole);
    if (is_blank(line)) return;
    if (!rest) remember_line(known, line_hash(line));
    if (first_ever_) return;
    TakenPiece piece{found.name, std::string(line.substr(0, longest_line)), encoding.encoding,
                     found.modified_ns / 1000, rest, {}};
    if (line.size() > longest_line) piece.unreadable = "a line longer than 64 KiB";
    out.pieces.push_back(std::move(piece));
  };
  for (std::size_t end = 0; (end = line_end(content, at, encoding.encoding)) != std::string_view::npos;)
    take(end, true);
  if (at < content.size() && settings_.settle.count() > 0 && !first_ever_) {
    if (settled(found, now, out)) take(content.size(), false);
  } else {
    waiting_.erase(found.name);
  }
  known.taken += static_cast<std::int64_t>(at);
  known.print = print_of(found, known.taken);
}

/// Its beginning is another than what was taken: written anew, shortened, or another file under this name.
void FolderTaker::take_rewritten(FileTaken& known, const Found& found, Look& out) {
  const auto content = bytes_of(found, 0, std::min(found.size, most_bytes));
  if (!content) return;
  const bool all_known = known.all_lines <= static_cast<std::int64_t>(known.lines.size()) && found.size <= most_bytes;
  std::vector<std::string> before = std::exchange(known.lines, {});
  known.taken = known.all_lines = 0;
  known.open_end = false;
  Look fresh;
  const auto settle = std::exchange(settings_.settle, {});
  take_new_lines(known, found, *content, 0, fresh);
  settings_.settle = settle;
  if (!all_known) {
    out.warnings.push_back(found.name + " was written anew and is too long to be compared with what was taken: "
                                        "what stands in it now counts as taken");
    return;
  }
  for (auto& piece : fresh.pieces) {
    const auto old = std::find(before.begin(), before.end(), line_hash(piece.bytes));
    if (old == before.end())
      out.pieces.push_back(std::move(piece));
    else
      before.erase(old);
  }
  // Lines that stand there no more may come back.
  known.all_lines += static_cast<std::int64_t>(before.size());
  known.lines.insert(known.lines.begin(), before.begin(), before.end());
  if (known.lines.size() > most_lines)
    known.lines.erase(known.lines.begin(), known.lines.end() - static_cast<std::ptrdiff_t>(most_lines));
}

/// The file has not changed for the settle time. Else the next look is ordered.
bool FolderTaker::settled(const Found& found, std::int64_t now, Look& out) {
  auto& waiting = waiting_[found.name];
  if (waiting.since_ns == 0 || waiting.size != found.size || waiting.modified_ns != found.modified_ns)
    waiting = {found.size, found.modified_ns, now};
  const std::int64_t left = waiting.since_ns + settings_.settle.count() * 1'000'000 - now;
  if (left <= 0) {
    waiting_.erase(found.name);
    return true;
  }
  const std::chrono::milliseconds again(left / 1'000'000 + 1);
  out.again_after = std::min(again, out.again_after.value_or(again));
  return false;
}

void FolderTaker::take_whole(const Found& found, std::int64_t now, Look& out) {
  FileTaken* known = known_by_name(found.name);
  if (known != nullptr && known->inode == found.inode && known->size == found.size &&
      known->modified_ns == found.modified_ns)
    return;
  if (!first_ever_ && (found.size == 0 || !settled(found, now, out))) return;
  const bool too_long = found.size > most_bytes;
  const auto content = bytes_of(found, 0, too_long ? 256 : found.size);
  if (!content) return;
  const std::string hash = sha256_of(too_long ? *content + std::to_string(found.size) : *content);
  const bool is_old = std::find(state_->contents.begin(), state_->contents.end(), hash) != state_->contents.end();
  // The same text in the same file, written later than what was taken from it.
  const bool again = settings_.same_again && known != nullptr && known->print == hash &&
                     known->modified_ns < found.modified_ns;
  FileTaken file{found.name, found.inode, found.size, found.modified_ns, found.size, hash, false, {}, 0, state_->look};
  if (known == nullptr)
    state_->files.push_back(std::move(file));
  else
    *known = std::move(file);
  if (!is_old) state_->contents.push_back(hash);
  if (state_->contents.size() > most_contents) state_->contents.erase(state_->contents.begin());
  if (first_ever_ || (is_old && !again)) return;
  const auto encoding = encoding_of(*content, settings_.encoding);
  out.pieces.push_back({found.name, *content, encoding.encoding, found.modified_ns / 1000, false,
                        too_long ? "a file larger than 16 MiB" : ""});
}

/// Files that are gone may come back under another name: the newest are remembered.
void FolderTaker::forget_old(const std::set<std::string>& there) {
  auto& files = state_->files;
  const auto gone = std::count_if(files.begin(), files.end(), [&](const auto& one) { return !there.contains(one.name); });
  if (gone <= most_gone) return;
  std::stable_sort(files.begin(), files.end(), [](const auto& a, const auto& b) { return a.seen < b.seen; });
  auto left = gone - most_gone;
  std::erase_if(files, [&](const auto& one) { return left > 0 && !there.contains(one.name) && left-- > 0; });
}

}  // namespace tallystick::ports
