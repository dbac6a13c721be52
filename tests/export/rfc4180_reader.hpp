// Reads CSV by the grammar of RFC 4180, section 2, and by nothing else: a strict reader that shares no code
// with the writer. Beyond the RFC only UTF-8 and control characters are taken, the latter in quotes alone.
#pragma once

#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace tallystick::exporting::test {

using Record = std::vector<std::string>;

inline std::vector<Record> read_rfc4180(std::string_view text) {
  std::vector<Record> out;
  std::size_t at = 0;
  const auto fault = [&](const char* what) {
    throw std::runtime_error(std::string(what) + " at byte " + std::to_string(at));
  };
  const auto peek = [&] { return at < text.size() ? text[at] : '\0'; };
  const auto escaped = [&] {
    std::string cell;
    for (++at;;) {
      if (at >= text.size()) fault("a quote was never closed");
      if (text[at] != '"') {
        cell += text[at++];
      } else if (at + 1 < text.size() && text[at + 1] == '"') {
        cell += '"';
        at += 2;
      } else {
        ++at;
        return cell;
      }
    }
  };
  const auto bare = [&] {
    std::string cell;
    while (at < text.size() && text[at] != ',' && text[at] != '\r') {
      if (text[at] == '"') fault("a quote inside a cell that is not in quotes");
      if (static_cast<unsigned char>(text[at]) < 0x20) fault("a control character outside quotes");
      cell += text[at++];
    }
    return cell;
  };
  while (at < text.size()) {
    Record record;
    for (;;) {
      record.push_back(peek() == '"' ? escaped() : bare());
      if (peek() != ',') break;
      ++at;
    }
    if (text.substr(at, 2) != "\r\n") fault("a line does not end in CRLF");
    at += 2;
    out.push_back(std::move(record));
  }
  return out;
}

}  // namespace tallystick::exporting::test
