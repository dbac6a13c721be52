#include "drivers/learn/learn.hpp"

#include <algorithm>
#include <array>
#include <set>

#include "drivers/learn/dialect_text.hpp"

namespace tallystick::learn {

namespace {

bool is_printable(char c) { return c >= ' ' && c <= '~'; }

/// One press fed to a dialect as it was heard, with a silence at its end.
std::vector<DecodeEvent> decoded(const Press& press, const std::shared_ptr<const Dialect>& dialect) {
  ReplayLog log;
  log.records = press.heard;
  return replay(log, dialect);
}

std::string said(const Decoded& value) {
  return (value.channel ? *value.channel + ": " : "") + value.value_text + " " +
         std::string(value.quantity.unit().name()) +
         (value.status == GaugeStatus::ok ? "" : " " + std::string(name(value.status)));
}

bool as_shown(const Decoded& value, const Shown& shown) {
  if (shown.status && *shown.status != value.status) return false;
  if (shown.channel && shown.channel != value.channel) return false;
  if (shown.unit && !convertible(*shown.unit, value.quantity.unit())) return false;
  const auto wanted = Quantity::parse(shown.number(), shown.unit.value_or(value.quantity.unit()));
  return wanted && convertible(wanted->unit(), value.quantity.unit()) && *wanted == value.quantity;
}

/// What a dialect makes of the presses. Empty optional: it refuses something, or reads other than what was
/// shown. `lines`: a press may bring frames that are none of the dialect's.
std::optional<std::vector<std::string>> reads(const std::vector<Press>& presses,
                                              const std::shared_ptr<const Dialect>& dialect, bool lines) {
  std::vector<std::string> out;
  for (const auto& press : presses) {
    const Decoded* last = nullptr;
    std::size_t refused = 0, readings = 0;
    const auto events = decoded(press, dialect);
    for (const auto& event : events) {
      if (event.decoded() != nullptr) last = event.decoded(), ++readings;
      const auto* refusal = event.refusal();
      if (refusal == nullptr) continue;
      const bool border =
          refusal->reason == RefusalReason::not_mine || refusal->reason == RefusalReason::incomplete;
      if (!(lines && border)) ++refused;
    }
    if (press.shown && !press.shown->has_number()) {
      if (readings != 0) return std::nullopt;
      out.push_back(std::string("refused"));
      continue;
    }
    if (last == nullptr || refused != 0) return std::nullopt;
    if (dialect->speaks == Speaks::pushed && readings != 1) return std::nullopt;
    if (press.shown && !as_shown(*last, *press.shown)) return std::nullopt;
    out.push_back(said(*last));
  }
  return out.empty() ? std::nullopt : std::optional(out);
}

/// How much of what was heard looks like text with ends: garbage of a wrong speed seldom does.
int readability(const View& view) {
  std::size_t good = 0, all = 0;
  for (const auto& press : view.presses) {
    const std::string bytes = press.bytes();
    for (std::size_t i = 0; i < bytes.size(); ++i, ++all) {
      const bool end = bytes[i] == '\r' || bytes[i] == '\n' || bytes[i] == 2 || bytes[i] == 3;
      good += is_printable(bytes[i]) || end ? 1U : 0U;
    }
  }
  return all == 0 ? 0 : static_cast<int>(1000 * good / all);
}

std::size_t different_numbers(const View& view) {
  std::set<std::string> out;
  for (const auto& press : view.presses) {
    if (press.shown && press.shown->has_number()) out.insert(plain_digits(press.shown->digits));
  }
  return out.size();
}

bool is_text(const std::vector<std::string>& bodies) {
  return std::ranges::all_of(bodies, [](const auto& body) {
    return std::ranges::all_of(body, [](char c) {
      return is_printable(c) || static_cast<unsigned char>(c) > 0x7F || c == 3 || c == 2;
    });
  });
}

bool is_plain_text(const std::vector<std::string>& bodies) {
  return std::ranges::all_of(bodies,
                             [](const auto& body) { return std::ranges::all_of(body, is_printable); });
}

class Learner {
 public:
  Learner(const Recording& recording, const std::vector<std::shared_ptr<const Dialect>>& known,
          const Naming& naming)
      : recording_(recording), known_(known), naming_(naming) {}

  Findings all() {
    auto views = views_of(recording_);
    std::ranges::stable_sort(views, std::greater<>(), readability);
    if (views.empty()) {
      out_.missing.push_back({"no_bytes", ""});
      return std::move(out_);
    }
    for (const auto& view : views) known_dialects(view);
    // A view that nobody told anything about (heard at settings that were tried and left) has nothing to say,
    // unless all are like that.
    const auto told = [](const View& view) { return different_numbers(view) > 0; };
    const bool any_told = std::ranges::any_of(views, told);
    for (const auto& view : views) {
      if (out_.proposals.empty() && (told(view) || !any_told)) propose(view);
    }
    if (!out_.proposals.empty())
      out_.missing.clear();
    else
      say_what_is_missing(views);
    return std::move(out_);
  }

 private:
  void known_dialects(const View& view) {
    for (const auto& dialect : known_) {
      if (!dialect->plan)
        continue;  // its values are asked for, register by register: nothing of them can be heard
      const auto already = std::ranges::find(out_.known, dialect->name, &KnownDialect::name);
      if (already != out_.known.end() && !already->other_settings) continue;
      const auto read = reads(view.presses, dialect, false);
      if (!read) continue;
      const auto& port = dialect->port;
      const bool other = port.baud != view.line.baud || port.data_bits != view.line.data_bits ||
                         port.parity != view.line.parity;
      if (already != out_.known.end() && other) continue;
      if (already != out_.known.end()) out_.known.erase(already);
      out_.known.push_back({dialect->name, dialect->about, view.line, other, *read, dialect->speaks});
    }
    std::ranges::stable_sort(out_.known, {}, &KnownDialect::other_settings);
  }

  void propose(const View& view) {
    const std::size_t numbers = different_numbers(view);
    if (numbers == 0) return miss({"not_shown", ""});
    if (numbers < 2) return miss({"one_value", ""});
    for (const auto& cut : cuts_of(view)) {
      if (!out_.proposals.empty()) return;
      const CheckSearch check = find_check(cut);
      if (check.several || (check.too_few && !check.found)) miss({"check_unsure", ""});
      if (check.found && !check.several) with_check(view, cut, check.found);
      if (out_.proposals.empty() && cut.after_end == 0) with_check(view, cut, std::nullopt);
    }
  }

  void with_check(const View& view, const Cut& cut, const std::optional<FoundCheck>& check) {
    std::vector<std::string> bodies = cut.bodies;
    for (auto& body : bodies) body.resize(body.size() - (check ? check->in_body : 0));
    if (std::ranges::any_of(bodies, [](const auto& body) { return body.empty(); })) return;
    if (is_text(bodies) && keep_first_right(view, cut, check, find_text_shapes(bodies, view.presses))) return;
    // Bytes that are no text are only cut by their length: an end byte may be one of the value's.
    if (!is_plain_text(bodies) && cut.by == CutBy::length)
      keep_first_right(view, cut, check, find_binary_shapes(bodies, view.presses));
  }

  bool keep_first_right(const View& view, const Cut& cut, const std::optional<FoundCheck>& check,
                        const ShapeSearch& search) {
    for (const auto& why : search.missing) miss(why);
    return std::ranges::any_of(search.shapes,
                               [&](const auto& shape) { return keep_if_right(view, cut, check, shape); });
  }

  bool keep_if_right(const View& view, const Cut& cut, const std::optional<FoundCheck>& check,
                     const Shape& shape) {
    Proposal proposal;
    proposal.toml = dialect_text(naming_, view, cut, check, shape);
    auto read = read_dialect(proposal.toml, naming_.name);
    if (!read) {
      miss({"not_expressible", text(read.error().front())});
      return false;
    }
    const auto values = reads(view.presses, std::make_shared<const Dialect>(*std::move(read)),
                              cut.several_lines || cut.streams);
    if (!values) {
      miss({"not_as_shown", ""});
      return false;
    }
    proposal.line = view.line;
    proposal.presses = view.presses;
    proposal.read = *values;
    proposal.unseen = shape.unseen;
    proposal.binary = !shape.binary.empty();
    proposal.checked = check.has_value();
    proposal.speaks = cut.streams ? Speaks::streams : Speaks::pushed;
    out_.proposals.push_back(std::move(proposal));
    return true;
  }

  void miss(Remark remark) {
    const auto same = [&](const Remark& each) { return each.code == remark.code; };
    if (std::ranges::none_of(out_.missing, same)) out_.missing.push_back(std::move(remark));
  }

  /// The reasons of the likeliest reading come first; what only follows from trying others is left out.
  void say_what_is_missing(const std::vector<View>& views) {
    static constexpr std::array<const char*, 4> decisive{"not_shown", "one_value", "two_numbers",
                                                         "unit_not_in_frame"};
    for (const auto code : decisive) {
      const auto at = std::ranges::find(out_.missing, code, &Remark::code);
      if (at == out_.missing.end()) continue;
      out_.missing = {*at};
      return;
    }
    const bool readable_text = readability(views.front()) >= 900;
    if (!readable_text) {
      out_.missing.insert(out_.missing.begin(), {"unreadable", settings_text(views.front().line)});
      std::erase_if(out_.missing, [](const Remark& each) {
        return each.code == "number_not_found" || each.code == "shape_varies" || each.code == "not_as_shown";
      });
    } else {
      const auto specific = [](const Remark& each) {
        return each.code != "number_not_found" && each.code != "not_as_shown" && each.code != "few_values";
      };
      if (std::ranges::any_of(out_.missing, specific))
        std::erase_if(out_.missing, [&](const Remark& each) { return !specific(each); });
    }
    if (out_.missing.empty()) out_.missing.push_back({"shape_varies", ""});  // no way to cut them fitted all
  }

  const Recording& recording_;
  const std::vector<std::shared_ptr<const Dialect>>& known_;
  const Naming& naming_;
  Findings out_;
};

}  // namespace

Findings learn(const Recording& recording, const std::vector<std::shared_ptr<const Dialect>>& known,
               const Naming& naming) {
  return Learner(recording, known, naming).all();
}

std::vector<PortSettings> settings_to_try(const Recording& recording) {
  std::vector<PortSettings> out;
  // 8 data bits without parity also hears 7 data bits with parity; 8 with parity and 7 without must be tried.
  // The order of speeds: common practice, no source.
  const auto tried = [&](const PortSettings& line) {
    return std::ranges::any_of(recording.presses, [&](const auto& press) { return press.line == line; });
  };
  const auto add = [&](int baud, int data_bits, Parity parity) {
    PortSettings line;
    line.baud = baud, line.data_bits = data_bits, line.parity = parity;
    if (!tried(line)) out.push_back(line);
  };
  for (const int baud : {9600, 4800, 2400, 19200, 1200, 38400, 57600, 115200, 600, 300})
    add(baud, 8, Parity::none);
  for (const int baud : {9600, 4800, 2400, 19200, 1200, 38400, 57600, 115200, 600, 300}) {
    add(baud, 8, Parity::even);
    add(baud, 8, Parity::odd);
    add(baud, 7, Parity::none);
  }
  return out;
}

std::string readable(std::string_view bytes) {
  static constexpr char digits[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    if (is_printable(c))
      out += c;
    else
      out += std::string("<") + digits[byte >> 4U] + digits[byte & 0xFU] + ">";
  }
  return out;
}

std::string remark_text(const Remark& remark) {
  static constexpr std::array<std::pair<const char*, const char*>, 24> texts{
      {{"no_bytes", "nothing was heard: check the cable and that the gauge sends when its button is pressed"},
       {"not_shown",
        "nobody said what the display showed: say it for two presses with different values at least"},
       {"one_value", "all presses showed the same value: press again with another value on the display"},
       {"few_values",
        "bytes that are no text need more different values, one of them large and one negative"},
       {"number_not_found", "the number that the display showed stands in no frame that was heard"},
       {"two_numbers",
        "two numbers of the frame were always the same: press again with a value that differs in one"},
       {"sign_not_found",
        "a negative value was shown, but nothing in the frames tells it from a positive one"},
       {"only_negative", "only negative values were shown: press with a positive one as well"},
       {"sign_or_unit", "the same bits changed with sign and unit: press with a negative value in each unit"},
       {"sign_not_seen", "no negative value was shown; how a minus is sent is an assumption"},
       {"unit_unknown", "the frames name no unit that is known: say the unit with the value (12.345 mm)"},
       {"unit_not_in_frame",
        "the gauge sends another unit without saying so: lock its unit key, and press in that unit alone"},
       {"unit_not_sent",
        "the frame does not carry the unit: the dialect says it, and the gauge's unit key must stay as it "
        "is"},
       {"unit_key_not_seen", "only one unit was seen: press once more with the unit key changed"},
       {"unexplained",
        "a part of the frames changes and nothing that was shown explains it: say channel or status with "
        "the value (2: 12.345 mm low_battery), or press more often"},
       {"check_unsure",
        "the frames may carry a check, but too few were heard to know which: press more different values"},
       {"shape_varies", "the frames are not of one shape: press again with one gauge in one mode"},
       {"decimals_unexplained", "the decimal places change and nothing in the frames says so"},
       {"not_expressible", "what was found cannot be written as a dialect"},
       {"not_as_shown", "what was found does not read every press as it was shown: check what was entered"},
       {"unreadable", "the bytes have no shape at these line settings: try others"},
       {"", ""},
       {"", ""},
       {"", ""}}};
  for (const auto& [code, sentence] : texts) {
    if (remark.code == code)
      return std::string(sentence) + (remark.detail.empty() ? "" : " [" + remark.detail + "]");
  }
  return remark.code;
}

}  // namespace tallystick::learn
