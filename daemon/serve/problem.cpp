#include "daemon/serve/problem.hpp"

#include <algorithm>
#include <array>
#include <boost/json.hpp>

#include "daemon/serve/problem_rules.hpp"

namespace tallystick::serve {
namespace {

struct Kind {
  std::string_view code;
  unsigned status;
  std::string_view title, meaning;
};

// Sorted by status; API.md lists the same.
constexpr std::array kinds{
    Kind{"bad_request", 400, "The request cannot be read",
         "What came is not a request of HTTP/1.1, or it can be read in two ways. The connection is closed."},
    Kind{"bad_target", 400, "The path cannot be read",
         "The request's target is not a plain path with an optional query."},
    Kind{"body_not_wanted", 400, "A body where none belongs", "Requests that only read carry no body."},
    Kind{"not_a_cursor", 400, "This is no cursor", "Hand back a cursor as it was given, unchanged."},
    Kind{"unknown_parameter", 400, "No such parameter",
         "EXPORT.md lists the parameters of exports and results."},
    Kind{"wrong_parameter", 400, "The parameter's value is wrong",
         "EXPORT.md lists what each parameter takes."},
    Kind{"not_json", 400, "The body is not JSON", "Send one JSON object in UTF-8."},
    Kind{"foreign_origin", 403, "Sent by a page of another origin",
         "Only the daemon's own pages may drive a bench. Programs send no Origin header, or the daemon's "
         "own."},
    Kind{"unknown_path", 404, "Nothing here", "The daemon has no such path. API.md lists all of them."},
    Kind{"unknown_bench", 404, "No such bench",
         "The configuration names the benches; GET /api/v1/benches lists them."},
    Kind{"unknown_walk", 404, "No such walk", "GET /api/v1/walks lists the walks that are open."},
    Kind{"unknown_part", 404, "No such part", "GET /api/v1/records/parts lists the parts of the record."},
    Kind{"unknown_lot", 404, "No such lot", "GET /api/v1/lots lists the lots."},
    Kind{"unknown_suspect", 404, "This result does not stand suspect",
         "It was measured again, or somebody has decided. GET /api/v1/suspects lists those that do."},
    Kind{"unknown_gauge", 404, "No such gauge", "GET /api/v1/gauges lists the gauges."},
    Kind{"unknown_edition", 404, "No such edition", "GET /api/v1/checklists lists the editions."},
    Kind{"unknown_size", 404, "No such size", "The size table of the family lists its sizes."},
    Kind{"unknown_family", 404, "No such family", "GET /api/v1/checklists lists the families."},
    Kind{"unknown_drawing", 404, "No such drawing",
         "Drawings are asked for by their SHA-256, as an edition names it."},
    Kind{"unknown_capture", 404, "No such capture",
         "Captures are asked for by their SHA-256, or by the key of the event that kept them; a part's history names both."},
    Kind{"method_not_allowed", 405, "Not with this method",
         "The Allow header lists the methods of this path."},
    Kind{"moved_on", 409, "The walk has moved on",
         "What the sender saw is no longer what is asked for. Nothing was done. Look at the new step, then "
         "send anew."},
    Kind{"not_now", 409, "Not in this state",
         "The command has no meaning in the bench's present state. Nothing was done."},
    Kind{"too_early", 409, "Answered before it could be read",
         "The question was not on the screen long enough. Look, then answer."},
    Kind{"too_short", 409, "The capture is too short",
         "It has not run for as long as the checklist asks for. It goes on: end it later, or drop it."},
    Kind{"tool_not_stated", 409, "Which plug or part is used?", "State it once for the walk, then answer."},
    Kind{"port_in_use", 409, "The daemon itself reads this line",
         "A port of the configuration has it. Take the port out and reload, or listen at another line."},
    Kind{"dialect_exists", 409, "There is a dialect of this name",
         "Nothing is written over: give the new dialect another name."},
    Kind{"changed_meanwhile", 409, "The configuration was changed meanwhile",
         "Nothing was written. Look at the lines again, then write them."},
    Kind{"reload_refused", 409, "The configuration was not taken",
         "It was read whole, and has faults, or changes what only a new start can. The daemon goes on with the one "
         "before. GET /api/v1/faults lists every fault with its remedy."},
    Kind{"safe_start", 409, "Safe start: nothing is taken",
         "The daemon was started with --safe: pages, record and export can be read, no gauge is open. Start it without "
         "--safe to measure."},
    Kind{"configured_already", 409, "There is a configuration already",
         "The first setup writes only where there is none, and never over a file. Change the file itself, then reload."},
    Kind{"past_branch_point", 410, "The journal has branched",
         "The cursor points past a point where the journal was continued from an older copy. The answer "
         "carries the "
         "cursor to go on with."},
    Kind{"unknown_cursor", 410, "The cursor is not of this journal",
         "Its journal is not in this record, or it names an event that is not there. Begin anew without it: "
         "every "
         "fact carries its key, so what is known already is told apart."},
    Kind{"length_required", 411, "Say how long the body is",
         "Send Content-Length; bodies in chunks are not taken."},
    Kind{"precondition_failed", 412, "Changed meanwhile",
         "What the edit is based on is no longer what stands there. Nothing was written. Get it again, and put the change in."},
    Kind{"body_too_large", 413, "The body is too large", "Commands are small. The connection is closed."},
    Kind{"not_a_json_body", 415, "Commands are JSON", "Send Content-Type: application/json."},
    Kind{"not_a_csv_body", 415, "A size table is CSV", "Send Content-Type: text/csv."},
    Kind{"wrong_host", 421, "Not this daemon's name",
         "The Host header must be 127.0.0.1, localhost or [::1] with the daemon's port."},
    Kind{"wrong_shape", 422, "The command's shape is wrong",
         "A member is missing, or is of another kind than expected."},
    Kind{"refused", 422, "Refused",
         "The rules of the walk or of the shop do not allow it. Nothing was done."},
    Kind{"upgrade_required", 426, "This is a WebSocket", "Open this address as a WebSocket."},
    Kind{"precondition_required", 428, "An edit must say what it is based on",
         "Send the ETag of what was read in If-Match, so that no change of somebody else is lost."},
    Kind{"headers_too_large", 431, "The headers are too large", "The connection is closed."},
    Kind{"broken", 500, "The daemon failed here",
         "This is a fault of the daemon. Its log says more. Nothing is lost."},
    Kind{"not_implemented", 501, "Unknown method", "The daemon knows GET, HEAD and POST."},
    Kind{"busy", 503, "Too busy", "A bounded queue is full. Nothing was done; send it again in a moment."},
    Kind{"not_kept", 503, "Nothing is being kept", "The record cannot be written. Nothing was taken."},
    Kind{"cannot_read", 503, "The record cannot be read", "The disk or the file does not answer. Try again."},
    Kind{"too_many_connections", 503, "Too many connections", "Close some, or try again in a moment."},
    Kind{"cannot_write", 503, "The file cannot be written", "Who runs the daemon may not write there, or the disk is full."},
    Kind{"stopping", 503, "The daemon is stopping", "Try again once it is back."},
    Kind{"cannot_write", 503, "The file cannot be written",
         "The daemon may not write there, or the disk is full. Nothing was changed."},
    Kind{"no_answer", 504, "No answer in time",
         "It is not known yet whether it was kept. Send it again with the same idempotency key: it is done "
         "once."},
    Kind{"http_version", 505, "HTTP/1.1 only", "The daemon speaks HTTP/1.1."},
};

std::optional<Kind> find(std::string_view code) {
  const auto at =
      std::find_if(kinds.begin(), kinds.end(), [&](const Kind& kind) { return kind.code == code; });
  if (at != kinds.end()) return *at;
  for (const auto& rule : rule_problems())
    if (rule.code == code) return Kind{rule.code, 422, rule.title, rule.meaning};
  return std::nullopt;
}

}  // namespace

std::vector<std::string_view> problem_codes() {
  std::vector<std::string_view> out;
  for (const auto& kind : kinds) out.push_back(kind.code);
  for (const auto& rule : rule_problems()) out.push_back(rule.code);
  return out;
}

std::string html_text(std::string_view text) {
  std::string out;
  for (const char letter : text) {
    switch (letter) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      default:
        out += letter;
    }
  }
  return out;
}

Answer problem(const Error& error, std::string_view instance) {
  const auto kind = find(error.code);
  const unsigned status = kind ? kind->status : 422;
  boost::json::object body;
  body["type"] = kind ? "/problems/" + error.code : "/problems/refused";
  body["title"] = std::string(kind ? kind->title : find("refused")->title);
  body["status"] = status;
  body["detail"] = error.what;
  if (!instance.empty()) body["instance"] = std::string(instance.substr(0, 300));
  body["code"] = error.code;
  if (!error.where.empty()) body["where"] = error.where;
  if (!error.hint.empty()) body["remedy"] = error.hint;
  Answer answer;
  answer.status = status;
  answer.media_type = "application/problem+json";
  answer.body = boost::json::serialize(body);
  if (status == 503) answer.headers.emplace_back("Retry-After", "1");
  return answer;
}

Answer problem(std::string code, std::string detail, std::string_view instance, std::string remedy) {
  return problem(Error{std::move(code), std::move(detail), {}, std::move(remedy)}, instance);
}

std::optional<Answer> problem_page(std::string_view code) {
  const auto kind = find(code);
  if (!kind) return std::nullopt;
  Answer answer;
  answer.media_type = "text/html; charset=utf-8";
  answer.body = "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>" + html_text(kind->title) +
                "</title><link rel=\"icon\" href=\"/pages/mark.svg\"><link rel=\"stylesheet\" href=\"/pages/plain.css\"><main><h1>" +
                html_text(kind->title) + "</h1><p>" + html_text(kind->meaning) + "</p><p><code>" +
                html_text(kind->code) + "</code>, HTTP " + std::to_string(kind->status) +
                "</p></main></html>\n";
  return answer;
}

}  // namespace tallystick::serve
