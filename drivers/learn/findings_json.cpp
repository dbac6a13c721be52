#include "drivers/learn/findings_json.hpp"

namespace tallystick::learn {

namespace json = boost::json;

namespace {

json::array texts(const std::vector<std::string>& all) {
  json::array out;
  for (const auto& each : all) out.emplace_back(each);
  return out;
}

}  // namespace

json::array remarks_json(const std::vector<Remark>& remarks) {
  json::array out;
  for (const auto& remark : remarks)
    out.push_back({{"code", remark.code}, {"text", remark_text(remark)}, {"detail", remark.detail}});
  return out;
}

json::object findings_json(const Findings& findings) {
  json::array known, proposals;
  for (const auto& each : findings.known)
    known.push_back({{"dialect", each.name},
                     {"about", each.about},
                     {"line", settings_text(each.heard_with)},
                     {"other_settings", each.other_settings},
                     {"speaks", name(each.speaks)},
                     {"read", texts(each.read)}});
  for (const auto& each : findings.proposals)
    proposals.push_back({{"line", settings_text(each.line)},
                         {"toml", each.toml},
                         {"read", texts(each.read)},
                         {"unseen", remarks_json(each.unseen)},
                         {"binary", each.binary},
                         {"speaks", name(each.speaks)},
                         {"checked", each.checked}});
  return {{"known", std::move(known)},
          {"proposals", std::move(proposals)},
          {"missing", remarks_json(findings.missing)}};
}

json::object press_json(const Press& press) {
  json::object out{{"line", settings_text(press.line)},
                   {"bytes_hex", hex_text(press.bytes())},
                   {"readable", readable(press.bytes())},
                   {"shown", nullptr}};
  if (press.shown) out["shown"] = press.shown_text;
  return out;
}

}  // namespace tallystick::learn
