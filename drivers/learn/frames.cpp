#include "drivers/learn/frames.hpp"

#include <algorithm>
#include <bit>

namespace tallystick::learn {

namespace {

bool is_control(char c) { return static_cast<unsigned char>(c) < 0x20; }
unsigned byte_of(char c) { return static_cast<unsigned char>(c); }

/// What the highest bit of bytes heard at 8N1 is. `none`: it is a bit of the data, or never set.
std::optional<Parity> parity_in(const std::string& bytes, int& stop_bits) {
  bool any = false, all = true, even = true, odd = true;
  for (const char c : bytes) {
    const unsigned byte = byte_of(c);
    const bool top = (byte & 0x80U) != 0;
    any = any || top;
    all = all && top;
    (std::popcount(byte) % 2 == 0 ? odd : even) = false;
  }
  stop_bits = 1;
  if (!any) return std::nullopt;
  if (even) return Parity::even;
  if (odd) return Parity::odd;
  if (!all) return std::nullopt;
  stop_bits = 2;  // a bit that is always set behind seven others: the first of two stop bits
  return Parity::none;
}

Cut with_ends(CutBy by, std::string start, std::string end) {
  Cut out;
  out.by = by;
  out.start = std::move(start);
  out.end = std::move(end);
  return out;
}

/// The pieces of a press that `end` closes. The last, unclosed one is left out.
std::vector<std::string> pieces_of(const std::string& bytes, const std::string& end) {
  std::vector<std::string> out;
  std::size_t from = 0;
  for (std::size_t at = bytes.find(end); at != std::string::npos; at = bytes.find(end, from)) {
    out.push_back(bytes.substr(from, at - from));
    from = at + end.size();
  }
  return out;
}

/// Cuts at a terminator: one cut where a press is a frame, one for each line where it is several.
void cut_at(const std::vector<std::string>& presses, const std::string& end, std::vector<Cut>& out) {
  std::vector<std::vector<std::string>> pieces;
  for (const auto& press : presses) pieces.push_back(pieces_of(press, end));
  const auto count = [](const auto& each) { return each.size(); };
  const std::size_t least = std::ranges::min(pieces, {}, count).size();
  const std::size_t most = std::ranges::max(pieces, {}, count).size();
  if (least == 0) return;
  const bool streams = least >= 4;
  // A stream was come upon midway: its first piece may be a rest. What was held on the display is its last
  // value.
  const std::size_t ways = streams ? 1 : least == most ? least : 0;
  for (std::size_t way = 0; way < ways; ++way) {
    std::vector<std::string> bodies;
    for (const auto& each : pieces) bodies.push_back(streams ? each.back() : each[way]);
    std::string head = common_head(bodies);
    const auto text = std::find_if_not(head.begin(), head.end(), is_control);
    head.erase(text, head.end());
    Cut cut = with_ends(head.empty() ? CutBy::terminator : CutBy::start_end, head, end);
    cut.streams = streams;
    cut.several_lines = ways > 1;
    for (auto& body : bodies) cut.bodies.push_back(body.substr(head.size()));
    cut.tails.assign(bodies.size(), "");
    out.push_back(std::move(cut));
  }
}

/// A start byte, an end byte, and a few bytes behind it.
void cut_marked(const std::vector<std::string>& presses, std::vector<Cut>& out) {
  const std::string head = common_head(presses);
  if (head.empty() || !is_control(head.front())) return;
  for (std::size_t behind = 1; behind <= 8; ++behind) {
    const auto end_of = [&](const std::string& press) { return press[press.size() - 1 - behind]; };
    const bool fits = std::ranges::all_of(presses, [&](const std::string& press) {
      return press.size() > behind + 2 && end_of(press) == end_of(presses.front()) &&
             is_control(end_of(press)) && press.find(end_of(press), 1) == press.size() - 1 - behind;
    });
    if (!fits) continue;
    Cut cut = with_ends(CutBy::start_end, head.substr(0, 1), std::string(1, end_of(presses.front())));
    cut.after_end = behind;
    for (const auto& press : presses) {
      cut.bodies.push_back(press.substr(1, press.size() - 2 - behind));
      cut.tails.push_back(press.substr(press.size() - behind));
    }
    out.push_back(std::move(cut));
  }
}

/// Nothing closes a frame: its length does, or the silence behind it.
void cut_unmarked(const std::vector<std::string>& presses, std::vector<Cut>& out) {
  const std::size_t length = presses.front().size();
  const bool alike = std::ranges::all_of(presses, [&](const auto& press) { return press.size() == length; });
  const std::string head = common_head(presses);
  const auto may_begin = [](char c) {
    return !((c >= '0' && c <= '9') || c == ' ' || c == '+' || c == '-' || c == '.');
  };
  if (alike && length >= 3) {
    // Without a start byte a lost border is not found again, so one is taken where there is one.
    const std::string tail = common_tail(presses);
    const std::size_t most =
        head.empty() || !may_begin(head.front()) ? 0 : std::min<std::size_t>(head.size(), 2);
    for (std::size_t start = std::min<std::size_t>(most, 1); start <= most; ++start) {
      for (const std::size_t end : {std::size_t{0}, std::size_t{1}}) {
        if (end > tail.size() || start + end + 2 > length) continue;
        Cut cut = with_ends(CutBy::length, head.substr(0, start), tail.substr(tail.size() - end));
        cut.length = length;
        for (const auto& press : presses) cut.bodies.push_back(press.substr(start, length - start - end));
        cut.tails.assign(presses.size(), "");
        out.push_back(std::move(cut));
      }
    }
    return;
  }
  Cut cut = with_ends(CutBy::idle_gap, "", "");
  cut.bodies = presses;
  cut.tails.assign(presses.size(), "");
  out.push_back(std::move(cut));
}

}  // namespace

std::string common_head(const std::vector<std::string>& texts) {
  std::string out = texts.empty() ? "" : texts.front();
  for (const auto& each : texts) {
    const auto [a, b] = std::mismatch(out.begin(), out.end(), each.begin(), each.end());
    out.erase(a, out.end());
  }
  return out;
}

std::string common_tail(const std::vector<std::string>& texts) {
  std::vector<std::string> turned;
  for (const auto& each : texts) turned.emplace_back(each.rbegin(), each.rend());
  const std::string head = common_head(turned);
  return {head.rbegin(), head.rend()};
}

std::vector<View> views_of(const Recording& recording) {
  std::vector<View> out;
  const auto view_for = [&](const PortSettings& line) -> View& {
    for (auto& view : out) {
      if (view.line == line) return view;
    }
    return out.emplace_back(View{line, {}});
  };
  for (const auto& press : recording.presses) view_for(press.line).presses.push_back(press);
  const std::size_t heard = out.size();
  for (std::size_t i = 0; i < heard; ++i) {
    const View heard_as = out[i];
    PortSettings line = heard_as.line;
    if (line.data_bits != 8 || line.parity != Parity::none) continue;
    std::string all;
    for (const auto& press : heard_as.presses) all += press.bytes();
    const auto parity = parity_in(all, line.stop_bits);
    if (!parity) continue;
    line.data_bits = 7;
    line.parity = *parity;
    View& view = view_for(line);
    for (Press press : heard_as.presses) {
      press.line = line;
      for (auto& record : press.heard) {
        for (char& c : record.bytes) c = static_cast<char>(byte_of(c) & 0x7FU);
      }
      view.presses.push_back(std::move(press));
    }
  }
  return out;
}

std::vector<Cut> cuts_of(const View& view) {
  std::vector<std::string> presses;
  for (const auto& press : view.presses) presses.push_back(press.bytes());
  std::vector<Cut> out;
  if (presses.empty() || std::ranges::any_of(presses, [](const auto& press) { return press.empty(); }))
    return out;
  std::string tail = common_tail(presses);
  const auto text = std::find_if_not(tail.rbegin(), tail.rend(), is_control);
  tail.erase(tail.begin(), text.base());
  if (!tail.empty()) cut_at(presses, tail, out);
  for (const std::string end : {"\r\n", "\n\r", "\r", "\n", "\x03"}) {
    if (end != tail && (tail.empty() || tail.ends_with(end) == false)) cut_at(presses, end, out);
  }
  cut_marked(presses, out);
  cut_unmarked(presses, out);
  return out;
}

}  // namespace tallystick::learn
