#include "daemon/serve/capture_routes.hpp"

#include <boost/json.hpp>
#include <memory>

#include "daemon/export/csv.hpp"
#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/reader.hpp"
#include "daemon/serve/routes.hpp"
#include "daemon/walk/outcome.hpp"

namespace tallystick::serve {
namespace {

namespace json = boost::json;

/// The SHA-256 that the capture goes by; of an event's key that of what it kept.
Expected<std::string> named_by(const std::string& capture, record::Reader& reader) {
  if (capture.size() == 64 && capture.find_first_not_of("0123456789abcdef") == std::string::npos)
    return capture;
  const auto unknown = [&] {
    return fail("unknown_capture",
                "the record has no capture under " + tallystick::quoted(capture.substr(0, 80)), "capture",
                "the history of a part names its captures");
  };
  const auto key = key_from(capture);
  if (!key) return unknown();
  const auto event = reader.event(*key);
  if (!event) return tl::unexpected<Error>(event.error());
  if (!*event) return unknown();
  const auto outcome = mirror::parse<walk::Outcome>((*event)->content.outcome);
  if (!outcome) return tl::unexpected(outcome.error());
  if (!outcome->capture) return unknown();
  return outcome->capture->sha256;
}

std::string value_text(const CaptureKept& capture, const CaptureSample& sample) {
  return Quantity::of_count(sample.count, Unit::named(capture.head.unit).value_or(Unit())).text();
}

/// Line by line: place, microseconds since the begin, the value exactly as it was.
std::string csv_of(const CaptureKept& capture) {
  std::string out = "n,us,value,unit\r\n";
  std::size_t n = 0;
  for (const auto& sample : capture.samples) {
    out += std::to_string(++n) + ',' + std::to_string(sample.at_us) + ',';
    exporting::append_cell(out, value_text(capture, sample));
    out += ',' + capture.head.unit + "\r\n";
  }
  return out;
}

json::value json_of(const std::string& sha256, const CaptureKept& capture) {
  json::array points;
  for (const auto& sample : capture.samples)
    points.push_back(json::array{sample.at_us, value_text(capture, sample)});
  const auto again = worked_out_again(capture);
  json::object out{{"sha256", sha256}, {"head", mirror::write<true>(capture.head)}};
  out["worked_out_again"] = again ? json::value(again->text()) : json::value(nullptr);
  out["points"] = std::move(points);
  return out;
}

Expected<Answer> told(const Request& request, const record::Place& place) {
  std::string form = "csv";
  for (const auto& [name, value] : request.query) {
    if (name != "form")
      return fail("unknown_parameter", "this path takes no " + tallystick::quoted(name), name,
                  "form=csv, json or bytes");
    form = value;
  }
  if (form != "csv" && form != "json" && form != "bytes")
    return fail("wrong_parameter", "no form " + tallystick::quoted(form) + " is known", "form",
                "csv, json or bytes");
  auto reader = record::Reader::open(place);
  if (!reader) return tl::unexpected(reader.error());
  const auto sha256 = named_by(request.captured.at("capture"), **reader);
  if (!sha256) return tl::unexpected(sha256.error());
  auto blob = (*reader)->blob(*sha256);
  if (!blob) return tl::unexpected(blob.error());
  if (!*blob || (*blob)->media_type != capture_media_type)
    return fail("unknown_capture", "the record has no capture under " + *sha256, "capture",
                "the history of a part names its captures");
  Answer answer;
  // Named by their content, the bytes of a SHA-256 never change.
  answer.headers.emplace_back("ETag", '"' + sha256->substr(0, 32) + '-' + form + '"');
  if (form == "bytes") {
    answer.media_type = capture_media_type;
    answer.body = std::move((*blob)->bytes);
    return answer;
  }
  const auto capture = capture_from((*blob)->bytes);
  if (!capture) return tl::unexpected(capture.error());
  if (form == "json") return json_answer(json_of(*sha256, *capture));
  answer.media_type = "text/csv; charset=utf-8; header=present";
  answer.body = csv_of(*capture);
  return answer;
}

}  // namespace

std::vector<Route> capture_routes(record::Place place) {
  const auto shared = std::make_shared<const record::Place>(std::move(place));
  return {
      {"/api/v1/captures/{capture}", [shared](const Request& request) { return told(request, *shared); }}};
}

}  // namespace tallystick::serve
