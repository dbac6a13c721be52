#include "drivers/learn/check_search.hpp"

#include <algorithm>
#include <set>

namespace tallystick::learn {

namespace {

/// So many bits must have been right that chance is no explanation: some hundred ways are tried.
constexpr std::size_t bits_needed = 24;

std::vector<FoundCheck> kinds() {
  std::vector<FoundCheck> out;
  const auto add = [&](const char* kind, decode::ChecksumKind family) {
    FoundCheck check;
    check.kind = kind;
    check.checksum.kind = family;
    if (family == decode::ChecksumKind::crc) check.checksum.crc = *decode::crc_named(kind);
    out.push_back(check);
  };
  add("sum", decode::ChecksumKind::sum);
  add("sum_complement", decode::ChecksumKind::sum_complement);
  add("exclusive_or", decode::ChecksumKind::exclusive_or);
  for (const auto kind : {"crc-8", "crc-16-modbus", "crc-16-xmodem", "crc-16-ccitt-false", "crc-32"})
    add(kind, decode::ChecksumKind::crc);
  return out;
}

/// What stands in the frame and what it should be, for one way; true where they are the same in every frame.
bool fits(const Cut& cut, const FoundCheck& check, bool& differ) {
  const auto& checksum = check.checksum;
  const std::size_t takes = checksum.width() + checksum.marked_by.size();
  std::set<std::string> seen;
  for (std::size_t i = 0; i < cut.bodies.size(); ++i) {
    std::string body = cut.bodies[i], tail = cut.tails[i];
    if (!checksum.after_end) {
      if (body.size() <= takes) return false;
      tail = body.substr(body.size() - takes);
      body.resize(body.size() - takes);
    } else if (tail.size() != takes) {
      return false;
    }
    if (!tail.starts_with(checksum.marked_by)) return false;
    tail.erase(0, checksum.marked_by.size());
    const std::string covered =
        (checksum.covers_start ? cut.start : "") + body + (checksum.covers_end ? cut.end : "");
    if (!checksum.matches(covered, tail)) return false;
    seen.insert(tail);
  }
  differ = seen.size() > 1;
  return true;
}

/// The byte in front of a check of `width` bytes, where it is the same in all frames and no digit.
std::string mark_before(const Cut& cut, std::size_t width) {
  std::string mark;
  for (std::size_t i = 0; i < cut.bodies.size(); ++i) {
    const std::string& text = cut.after_end > 0 ? cut.tails[i] : cut.bodies[i];
    if (text.size() <= width) return {};
    const std::string here(1, text[text.size() - width - 1]);
    if (i > 0 && here != mark) return {};
    mark = here;
  }
  const bool text = !mark.empty() && (mark[0] == '*' || mark[0] == ':' || mark[0] == ',' || mark[0] == ';' ||
                                      mark[0] == '#' || mark[0] == '/' || mark[0] == '&');
  return text ? mark : std::string();
}

/// The ways to place one kind.
std::vector<FoundCheck> placed(const Cut& cut, FoundCheck check) {
  std::vector<FoundCheck> out;
  for (const bool hex : {true, false}) {
    for (const bool low_first : {false, true}) {
      if (low_first && check.checksum.bits() == 8) continue;
      for (const bool start : {false, true}) {
        if (start && cut.start.empty()) continue;
        for (const bool end : {false, true}) {
          if (end && cut.end.empty()) continue;
          auto& checksum = check.checksum;
          checksum.written_as_hex = hex;
          checksum.low_byte_first = low_first;
          checksum.covers_start = start;
          checksum.covers_end = end;
          checksum.after_end = cut.after_end > 0;
          checksum.marked_by.clear();
          out.push_back(check);
          checksum.marked_by = mark_before(cut, checksum.width());
          if (!checksum.marked_by.empty()) out.push_back(check);
        }
      }
    }
  }
  return out;
}

}  // namespace

CheckSearch find_check(const Cut& cut) {
  CheckSearch out;
  const std::size_t frames = std::set<std::string>(cut.bodies.begin(), cut.bodies.end()).size();
  std::set<std::string> found;
  for (const auto& kind : kinds()) {
    for (auto& way : placed(cut, kind)) {
      bool differ = false;
      if (!fits(cut, way, differ) || !differ) continue;
      if (frames * static_cast<std::size_t>(way.checksum.bits()) < bits_needed) {
        out.too_few = true;
        continue;
      }
      found.insert(way.kind);
      if (out.found) continue;
      way.in_body = way.checksum.after_end ? 0 : way.checksum.width() + way.checksum.marked_by.size();
      out.found = way;
    }
  }
  out.several = found.size() > 1;
  return out;
}

}  // namespace tallystick::learn
