#include "tools/cli/redaction.hpp"

#include <re2/re2.h>

#include <algorithm>

namespace tallystick::cli {

Redaction::Redaction(std::vector<std::string> names) : names_(std::move(names)) {
  std::erase_if(names_, [](const std::string& name) { return name.size() < 2; });
  std::sort(names_.begin(), names_.end(), [](const std::string& left, const std::string& right) {
    return left.size() != right.size() ? left.size() > right.size() : left < right;
  });
  names_.erase(std::unique(names_.begin(), names_.end()), names_.end());
}

std::string Redaction::clean(const std::string& text) const {
  std::string out = text;
  // Secrets first: a name inside one is gone with it.
  RE2::GlobalReplace(&out,
                     R"((?s)-----BEGIN [A-Z ]*PRIVATE KEY-----.*?(-----END [A-Z ]*PRIVATE KEY-----|\z))",
                     "[private key]");
  RE2::GlobalReplace(
      &out,
      R"re((?i)(["']?[a-z0-9_.-]*(?:pass(?:word|wd|phrase)?|token|secret|api_?key|private_?key|credentials?|cookie|authorization)[a-z0-9_.-]*["']?\s*[=:]\s*)("[^"\n]*"|'[^'\n]*'|\[[^\]]*\]|(?:(?:bearer|basic)\s+)?[^\s,;&}]+))re",
      "\\1\"[secret]\"");
  RE2::GlobalReplace(&out, R"(([a-z][a-z0-9+.-]*://)[^/\s@"']+@)", "\\1[secret]@");
  RE2::GlobalReplace(&out, R"(/home/[^/\s"':]+)", "/home/[user]");
  for (std::size_t at = 0; at < names_.size(); ++at) {
    // A blank in a name may stand as any gap, also as an escape of an address or of JSON.
    auto pattern = RE2::QuoteMeta(names_[at]);
    RE2::GlobalReplace(&pattern, R"((\\? )+)", R"((?:\\s|\\+|%20|\\x20|\\\\u0020)+)");
    RE2::GlobalReplace(&out, "(?i)" + pattern, "[person " + std::to_string(at + 1) + "]");
  }
  return out;
}

}  // namespace tallystick::cli
