#include "daemon/record/folder.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <sys/vfs.h>
#include <unistd.h>

#include <algorithm>
#include <boost/json.hpp>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <sstream>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/chain.hpp"
#include "daemon/record/journal.hpp"

namespace tallystick::record {

namespace {

tl::unexpected<Error> system_fault(const char* code, const std::string& what,
                                   const std::filesystem::path& where) {
  const int number = errno;
  return fail(
      code, what + ": " + std::strerror(number), where.string(),
      number == ENOSPC ? "free some space on this disk" : "look at the folder's owner and permissions");
}

class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  int get() const { return number_; }

 private:
  int number_;
};

bool write_all(int descriptor, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return true;
}

/// Type of the mount that a device number belongs to, as the kernel lists it.
std::string mount_type(dev_t device) {
  std::ifstream mounts("/proc/self/mountinfo");
  const std::string wanted = std::to_string(major(device)) + ":" + std::to_string(minor(device));
  std::string line;
  while (std::getline(mounts, line)) {
    std::istringstream fields(line);
    std::string id, parent, numbers, field;
    fields >> id >> parent >> numbers;
    if (numbers != wanted) continue;
    while (fields >> field && field != "-") {
    }
    fields >> field;
    return field;
  }
  return {};
}

}  // namespace

Expected<Lock> Lock::take(const std::filesystem::path& file) {
  Lock lock;
  lock.descriptor_ = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0640);
  if (lock.descriptor_ < 0) return system_fault("cannot_open", "the lock file cannot be opened", file);
  if (::flock(lock.descriptor_, LOCK_EX | LOCK_NB) != 0) {
    char holder[32] = {};
    const ssize_t size = ::pread(lock.descriptor_, holder, sizeof holder - 1, 0);
    std::string process(holder, size > 0 ? static_cast<std::size_t>(size) : 0);
    while (!process.empty() && process.back() == '\n') process.pop_back();
    return fail("locked",
                "another process" + (process.empty() ? "" : " (" + process + ")") + " writes this journal",
                file.string(), "stop it, or let the daemon do what you want to do");
  }
  const std::string process = std::to_string(::getpid()) + "\n";
  if (::ftruncate(lock.descriptor_, 0) != 0 ||
      ::pwrite(lock.descriptor_, process.data(), process.size(), 0) < 0) {
    // The lock holds without its text; on a full disk that must not keep the daemon from starting.
  }
  return lock;
}

Lock::~Lock() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

Done write_durably(const std::filesystem::path& file, std::string_view bytes) {
  std::error_code code;
  std::filesystem::create_directories(file.parent_path(), code);
  const auto draft = file.string() + ".new";
  {
    const Descriptor out(::open(draft.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640));
    if (out.get() < 0) return system_fault("cannot_write", "the file cannot be made", draft);
    if (!write_all(out.get(), bytes) || ::fsync(out.get()) != 0)
      return system_fault("cannot_write", "the file cannot be written", draft);
  }
  if (::rename(draft.c_str(), file.c_str()) != 0)
    return system_fault("cannot_write", "the file cannot be named", file);
  const Descriptor folder(::open(file.parent_path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (folder.get() < 0 || ::fsync(folder.get()) != 0)
    return system_fault("cannot_write", "the folder cannot be synced", file.parent_path());
  return {};
}

std::optional<Head> read_head(const std::filesystem::path& file, std::string* why) {
  std::ifstream in(file, std::ios::binary);
  if (!in) return std::nullopt;
  std::ostringstream content;
  content << in.rdbuf();
  boost::system::error_code code;
  const auto value = boost::json::parse(content.str(), code);
  const auto* object = code ? nullptr : value.if_object();
  const auto* last = object == nullptr ? nullptr : object->if_contains("last");
  const auto* hash = object == nullptr ? nullptr : object->if_contains("hash");
  std::optional<Key> key;
  if (last != nullptr && last->is_string()) key = key_from(last->as_string());
  if (!key || hash == nullptr || !hash->is_string() || hash->as_string().size() != 64) {
    if (why != nullptr) *why = file.string() + " is not a head file that this release understands";
    return std::nullopt;
  }
  return Head{*key, std::string(hash->as_string())};
}

Done write_head(const std::filesystem::path& file, const Head& head) {
  const boost::json::object content{{"format", 1}, {"last", text(head.last)}, {"hash", head.hash}};
  return write_durably(file, boost::json::serialize(content) + "\n");
}

Expected<std::filesystem::path> set_aside(const std::filesystem::path& folder, const Proposal& proposal,
                                          const Error& why) {
  boost::json::array facts, attachments;
  for (const auto& fact : proposal.facts) facts.push_back(mirror::write(fact));
  for (const auto& attachment : proposal.attachments)
    attachments.push_back(boost::json::object{{"sha256", attachment.sha256},
                                              {"media_type", attachment.media_type},
                                              {"bytes_hex", hex(attachment.bytes)}});
  // Texts may be the very reason for the refusal (bytes that are not UTF-8), so input and outcome stand in
  // hex too.
  const boost::json::object content{
      {"why", {{"code", why.code}, {"what", why.what}, {"where", why.where}, {"hint", why.hint}}},
      {"kind", proposal.kind},
      {"version", proposal.version},
      {"rules", proposal.rules},
      {"stamp",
       {{"utc_us", proposal.stamp.utc_us},
        {"steady_ns", proposal.stamp.steady_ns},
        {"boot", proposal.stamp.boot},
        {"clock", proposal.stamp.clock}}},
      {"bench", proposal.bench},
      {"walk", proposal.walk},
      {"lot", proposal.lot},
      {"gauge", proposal.gauge},
      {"person", proposal.person},
      {"input_hex", hex(proposal.input)},
      {"raw_hex", hex(proposal.raw)},
      {"outcome_hex", hex(proposal.outcome)},
      {"facts", facts},
      {"attachments", attachments}};
  const std::string stem =
      std::to_string(proposal.stamp.utc_us) + "-" + (proposal.kind.empty() ? "none" : "event");
  std::error_code code;
  for (int number = 1; number < 100000; ++number) {
    const auto file = folder / (stem + "-" + std::to_string(number) + ".json");
    if (std::filesystem::exists(file, code)) continue;
    if (auto done = write_durably(file, boost::json::serialize(content) + "\n"); !done)
      return tl::unexpected<Error>(done.error());
    return file;
  }
  return fail("cannot_write", "too many events were set aside at one time", folder.string(), "look at them");
}

std::vector<std::filesystem::path> list_set_aside(const std::filesystem::path& folder) {
  std::vector<std::filesystem::path> out;
  std::error_code code;
  for (std::filesystem::directory_iterator at(folder, code), end; !code && at != end; at.increment(code))
    if (at->path().extension() == ".json") out.push_back(at->path());
  std::sort(out.begin(), out.end());
  return out;
}

std::string network_share(std::uint64_t magic, std::string_view type) {
  struct Known {
    std::uint64_t magic;
    const char* name;
  };
  // Numbers from Linux's include/uapi/linux/magic.h and the file systems' own sources.
  static constexpr Known known[] = {{0x6969, "nfs"},      {0x517B, "smb"},       {0xFF534D42, "cifs"},
                                    {0xFE534D42, "smb2"}, {0x5346414F, "afs"},   {0x6B414653, "afs"},
                                    {0x73757245, "coda"}, {0x564C, "ncp"},       {0x00C36400, "ceph"},
                                    {0x01021997, "9p"},   {0x0BD00BD0, "lustre"}};
  for (const auto& one : known)
    if (one.magic == magic) return one.name;
  if (magic ==
      0x65735546) {  // FUSE: a local one ("fuseblk", "fuse.ntfs-3g") may hold a journal, these may not
    static constexpr std::string_view remote[] = {"sshfs",     "s3fs",  "rclone",   "gluster",
                                                  "curlftpfs", "davfs", "smbnetfs", "goofys",
                                                  "gcsfuse",   "ceph",  "juicefs",  "virtiofs"};
    for (const auto name : remote)
      if (type.find(name) != std::string_view::npos) return std::string(type);
    if (type == "virtiofs") return "virtiofs";
  }
  return {};
}

Done check_local(const std::filesystem::path& folder) {
  std::error_code code;
  std::filesystem::path there = std::filesystem::absolute(folder, code);
  while (!std::filesystem::exists(there, code) && there.has_relative_path()) there = there.parent_path();
  struct statfs system {};
  struct stat file {
  }, root{};
  if (::statfs(there.c_str(), &system) != 0 || ::stat(there.c_str(), &file) != 0)
    return system_fault("cannot_open", "the folder cannot be looked at", there);
  const auto name = network_share(static_cast<std::uint64_t>(system.f_type), mount_type(file.st_dev));
  if (name.empty()) return {};
  // A machine that lives on such a file system whole has nothing nearer to offer.
  if (::stat("/", &root) == 0 && root.st_dev == file.st_dev) return {};
  return fail("network_share",
              "the folder lies on a network share (" + name + "), where a commit may be lost or damaged",
              folder.string(), "put the data folder on a disk of this machine and send backups to the share");
}

std::string machine_id(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::string id;
  if (!(in >> id) || id.size() < 16) return {};
  ChainHash hash;
  return hex(bytes(hash.plain("tallystick machine " + id)));
}

}  // namespace tallystick::record
