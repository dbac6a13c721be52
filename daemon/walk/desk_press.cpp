// A pedal, a button, a code card: an action of a bench that comes through a port instead of a page.
#include "daemon/walk/desk.hpp"

namespace tallystick::walk {

namespace json = boost::json;

namespace {

std::string text_at(const json::object& from, const char* name) {
  const auto* value = from.if_contains(name);
  return value && value->is_string() ? std::string(value->as_string()) : std::string();
}

const json::object* object_at(const json::object& from, const char* name) {
  const auto* value = from.if_contains(name);
  return value ? value->if_object() : nullptr;
}

/// The page has a list to choose from: a pedal alone cannot say which.
Error to_choose(const Press& press, const std::string& what) {
  return {"to_choose", what, press.bench, "choose on the bench's page, or by a code card with a reason"};
}

}  // namespace

/// Was what is asked for now already on a display when it was pressed? Else it was meant for what stood there before.
Done Desk::could_be_seen(const BenchWindow& window, const Press& press) const {
  if (window.displays.empty())
    return fail("not_now", "no display of the bench is there: nobody would see what it does", press.bench, "open the bench's page");
  const auto shown = window.asks.find(window.ask);
  if (shown != window.asks.end())
    for (const auto& [display, when] : shown->second.told)
      if (elapsed_ns(when, press.at) >= 0) return {};
  return fail("moved_on", "the screen did not show the present step yet when it was pressed", press.bench,
              "look at the page, then press again");
}

Expected<Input> Desk::input_of(const BenchWindow& window, const Press& press) const {
  Input input;
  input.stamp = press.at;
  input.bench = press.bench;
  input.body = {{"port", press.port}, {"code", press.code}};
  const auto view = json_of(window.view);
  const auto* walk = object_at(view, "walk");
  if (!walk) {
    const auto* parked = view.if_contains("parked");
    if (press.action != "good" || !parked || !parked->is_array() || parked->as_array().empty())
      return tl::unexpected(to_choose(press, "nothing is being measured at this bench"));
    input.kind = "take_up";   // what the page's own key does then
    input.body["walk"] = parked->as_array().front().as_object().at("walk");
    return input;
  }
  input.kind = "act";
  input.body["action"] = press.action;
  input.saw = {text_at(*walk, "key"), text_at(*walk, "part"), window.ask};
  const auto* actions = object_at(view, "actions");
  const auto* action = actions ? object_at(*actions, press.action.c_str()) : nullptr;
  const auto* reasons = action ? action->if_contains("reasons") : nullptr;
  if (!reasons || !reasons->is_array()) return input;
  if (!press.reason.empty()) input.body["reason"] = press.reason;
  else if (reasons->as_array().size() > 1) return tl::unexpected(to_choose(press, "it needs a reason"));
  return input;
}

void Desk::press(const Press& press, Answered answered) {
  const auto known = windows_.find(press.bench);
  if (known == windows_.end()) {
    if (answered) answered(fail("unknown_bench", "no bench \"" + press.bench + "\"", press.port));
    return;
  }
  auto told = [this, press, answered = std::move(answered)](Expected<json::object> answer) {
    show_press(press, answer ? std::string() : answer.error().code);
    if (answered) answered(std::move(answer));
  };
  if (auto seen = could_be_seen(known->second, press); !seen) return told(tl::unexpected(seen.error()));
  auto input = input_of(known->second, press);
  if (!input) return told(tl::unexpected(input.error()));
  take(std::move(*input), {}, std::move(told));
}

/// Where it did nothing the page says so, or opens what there is to choose.
void Desk::show_press(const Press& press, const std::string& code) {
  auto& window = windows_[press.bench];
  if (code.empty())
    window.press = nullptr;
  else
    window.press = {{"number", ++presses_}, {"action", press.action}, {"code", code}, {"port", press.port}};
  refresh_view(press.bench);
}

}  // namespace tallystick::walk
