#include <algorithm>
#include <set>

#include "drivers/learn/number_search.hpp"
#include "drivers/learn/shape.hpp"
#include "drivers/learn/text_parts.hpp"

namespace tallystick::learn {

namespace {

/// One frame taken apart at its number.
struct Taken {
  std::string left, value, right;
  char sign = 0;               ///< beside the number; 0: there is none
  bool blanks_before = false;  ///< in front of sign or number
  bool blanks_between = false;
};

enum class SignPlace : std::uint8_t { unknown, in_front, behind, elsewhere };

struct Candidate {
  NumberKey key;
  std::vector<NumberPlace> places;  ///< one a press
  int penalty = 0;
  std::map<std::string, int> decimals;  ///< by the unit shown ("" where none), for numbers without a mark
};

std::string unit_of(const Known& known) {
  return known.press->shown->unit ? std::string(known.press->shown->unit->name()) : std::string();
}

std::size_t shown_decimals(const Shown& shown) {
  const auto point = shown.digits.find('.');
  return point == std::string::npos ? 0 : shown.digits.size() - point - 1;
}

class TextSearch {
 public:
  TextSearch(const std::vector<std::string>& bodies, const std::vector<Press>& presses) {
    for (std::size_t i = 0; i < bodies.size(); ++i) {
      if (presses[i].shown && presses[i].shown->has_number()) {
        bodies_.push_back(bodies[i]);
        known_.push_back({&presses[i]});
      } else if (presses[i].shown) {
        without_.emplace_back(bodies[i], &presses[i]);
      }
    }
  }

  ShapeSearch search() {
    ShapeSearch out;
    if (known_.empty()) {
      out.missing.push_back({"not_shown", ""});
      return out;
    }
    const auto candidates = common_candidates();
    if (candidates.empty()) out.missing.push_back({"number_not_found", quoted(bodies_.front())});
    for (const auto& candidate : candidates) {
      if (candidate.penalty == candidates.front().penalty && !same_place(candidate, candidates.front())) {
        out.shapes.clear();
        out.missing = {{"two_numbers", known_.front().press->shown->number()}};
        return out;
      }
    }
    for (const auto& candidate : candidates) {
      Shape shape;
      if (auto why = build(candidate, shape))
        out.missing.push_back(*why);
      else
        out.shapes.push_back(std::move(shape));
    }
    return out;
  }

 private:
  static bool same_place(const Candidate& a, const Candidate& b) {
    for (std::size_t i = 0; i < a.places.size(); ++i) {
      if (a.places[i].at != b.places[i].at || a.places[i].size != b.places[i].size) return false;
    }
    return true;
  }

  /// The keys that explain every press, the simplest first.
  std::vector<Candidate> common_candidates() const {
    std::map<NumberKey, Candidate> found;
    for (std::size_t i = 0; i < known_.size(); ++i) {
      const auto here = numbers_in(bodies_[i], *known_[i].press->shown);
      if (i == 0) {
        for (const auto& [key, place] : here) found[key] = {key, {place}, 0, {}};
        continue;
      }
      for (auto each = found.begin(); each != found.end();) {
        const auto at = here.find(each->first);
        if (at == here.end()) {
          each = found.erase(each);
          continue;
        }
        each->second.places.push_back(at->second);
        ++each;
      }
    }
    std::vector<Candidate> out;
    for (auto& [key, candidate] : found) {
      if (settle_decimals(candidate)) out.push_back(std::move(candidate));
    }
    std::ranges::stable_sort(out, {}, &Candidate::penalty);
    return out;
  }

  /// One number of implied decimals for each unit; and how much must be believed for it.
  bool settle_decimals(Candidate& candidate) const {
    const NumberKey& key = candidate.key;
    candidate.penalty = static_cast<int>(key.prefix + key.suffix) * 2;
    if (key.mark != 0) return true;
    std::map<std::string, std::set<int>> fit;
    std::map<std::string, std::size_t> shown;
    for (std::size_t i = 0; i < known_.size(); ++i) {
      const std::string unit = unit_of(known_[i]);
      const auto [at, first] = fit.emplace(unit, candidate.places[i].decimals);
      if (!first) {
        std::set<int> both;
        std::ranges::set_intersection(at->second, candidate.places[i].decimals,
                                      std::inserter(both, both.end()));
        at->second = both;
      }
      shown[unit] = std::max(shown[unit], shown_decimals(*known_[i].press->shown));
    }
    bool other_than_shown = false;
    for (const auto& [unit, decimals] : fit) {
      if (decimals.empty()) return false;
      const int display = static_cast<int>(shown[unit]);
      candidate.decimals[unit] = decimals.contains(display) ? display : *decimals.begin();
      other_than_shown = other_than_shown || candidate.decimals[unit] != display;
    }
    candidate.penalty += other_than_shown ? 7 : 0;
    return true;
  }

  std::optional<Remark> build(const Candidate& candidate, Shape& shape) {
    shape.mark = candidate.key.mark == ',' ? ',' : '.';
    shape.exponent = candidate.key.exponent;
    std::vector<Taken> frames;
    for (std::size_t i = 0; i < bodies_.size(); ++i) {
      const auto& [at, size, decimals] = candidate.places[i];
      frames.push_back({bodies_[i].substr(0, at), bodies_[i].substr(at, size), bodies_[i].substr(at + size)});
    }
    const SignPlace place = sign_place(frames);
    take_blanks_and_signs(frames, place);
    const bool elsewhere = place == SignPlace::elsewhere;
    Side none;
    none.sign = !elsewhere;
    const Side left = explain(side(frames, &Taken::left), known_, none, elsewhere, shape);
    if (left.unexplained) return left.unexplained;
    const Side right = explain(side(frames, &Taken::right), known_, left, elsewhere && !left.sign, shape);
    if (right.unexplained) return right.unexplained;
    if (elsewhere && !left.sign && !right.sign) return Remark{"sign_not_found", quoted(bodies_.front())};
    shape.pattern = left.pattern + number_pattern(frames, place, candidate, shape) + right.pattern;
    note_sign(place, shape);
    status_of_others(candidate, shape);
    return settle_unit(candidate, left.unit || right.unit, shape);
  }

  static std::vector<std::string> side(const std::vector<Taken>& frames, std::string Taken::*which) {
    std::vector<std::string> out;
    for (const auto& frame : frames) out.push_back(frame.*which);
    return out;
  }

  bool any_negative() const {
    return std::ranges::any_of(known_, [](const auto& known) { return known.negative(); });
  }

  /// The sign that stands in front of the number or behind it, for each frame.
  SignPlace sign_place(const std::vector<Taken>& frames) const {
    const auto before = [](const Taken& frame) {
      const auto at = frame.left.find_last_not_of(' ');
      return at == std::string::npos ? ' ' : frame.left[at];
    };
    const auto after = [](const Taken& frame) { return frame.right.empty() ? ' ' : frame.right.front(); };
    const auto tells = [&](auto sign_of) {
      for (std::size_t i = 0; i < frames.size(); ++i) {
        if (known_[i].zero()) continue;
        if ((sign_of(frames[i]) == '-') != known_[i].negative()) return false;
      }
      return true;
    };
    if (any_negative()) {
      if (tells(before)) return SignPlace::in_front;
      return tells(after) ? SignPlace::behind : SignPlace::elsewhere;
    }
    const auto plus = [&](auto sign_of) {
      return std::ranges::all_of(frames, [&](const auto& frame) { return sign_of(frame) == '+'; });
    };
    if (plus(before)) return SignPlace::in_front;
    return plus(after) ? SignPlace::behind : SignPlace::unknown;
  }

  static void take_blanks_and_signs(std::vector<Taken>& frames, SignPlace place) {
    for (auto& frame : frames) {
      const auto take_blanks = [&] {
        bool any = false;
        while (frame.left.ends_with(' ')) frame.left.pop_back(), any = true;
        return any;
      };
      frame.blanks_before = take_blanks();
      const bool signed_here = frame.left.ends_with('+') || frame.left.ends_with('-');
      if (place == SignPlace::in_front && signed_here) {
        frame.sign = frame.left.back();
        frame.left.pop_back();
        frame.blanks_between = frame.blanks_before;
        frame.blanks_before = take_blanks();
      }
      if (place == SignPlace::behind && !frame.right.empty()) {
        const char sign = frame.right.front();
        if (sign == '+' || sign == '-' || sign == ' ') frame.sign = sign, frame.right.erase(0, 1);
      }
    }
  }

  std::string number_pattern(const std::vector<Taken>& frames, SignPlace place, const Candidate& candidate,
                             Shape& shape) const {
    const auto any = [&](auto is) { return std::ranges::any_of(frames, is); };
    const bool all_signed = std::ranges::all_of(frames, [](const auto& frame) { return frame.sign != 0; });
    std::string out = any([](const auto& frame) { return frame.blanks_before; }) ? " *" : "";
    if (place == SignPlace::unknown) out += "(?P<sign>-?)";
    if (place == SignPlace::in_front) out += all_signed ? "(?P<sign>[+-])" : "(?P<sign>[+-]?)";
    if (any([](const auto& frame) { return frame.blanks_between; })) out += " *";
    out += "(?P<value>" + digits_pattern(frames, candidate, shape) + ")";
    if (place == SignPlace::behind) out += all_signed ? "(?P<sign>[ +-])" : "(?P<sign>[+-]?)";
    return out;
  }

  std::string digits_pattern(const std::vector<Taken>& frames, const Candidate& candidate,
                             Shape& shape) const {
    std::set<std::size_t> in_front, behind, mantissas;
    bool zeros = false;
    for (const auto& frame : frames) {
      const std::size_t end = shape.exponent ? frame.value.find_first_of("eE") : frame.value.size();
      const auto mark = candidate.key.mark == 0 ? std::string::npos : frame.value.find(candidate.key.mark);
      const std::size_t whole = std::min(mark, end);
      in_front.insert(whole);
      behind.insert(mark == std::string::npos ? 0 : end - mark - 1);
      zeros = zeros || (whole > 1 && frame.value.front() == '0');
    }
    const bool padded = std::ranges::any_of(
        frames, [](const auto& frame) { return frame.blanks_before || frame.blanks_between; });
    // Leading zeros fill a fixed width. Without them the width is that of the values that were seen.
    const bool fixed = in_front.size() == 1 && zeros && !padded;
    std::string out = fixed ? "\\d{" + std::to_string(*in_front.begin()) + "}" : "\\d+";
    if (fixed && candidate.key.prefix == 0 && candidate.key.suffix == 0 &&
        behind == std::set<std::size_t>{0} && candidate.key.mark != 0)
      out = "\\d+";
    if (candidate.key.prefix > 0 || candidate.key.suffix > 0)
      out = "\\d{" + std::to_string(*in_front.begin()) + "}";
    if (*behind.rbegin() > 0) {
      const std::string mark = candidate.key.mark == ',' ? "," : "\\.";
      const std::string least = std::to_string(*behind.begin()), most = std::to_string(*behind.rbegin());
      if (*behind.begin() == 0)
        out += "(?:" + mark + "\\d{1," + most + "})?";
      else
        out += mark + "\\d{" + least + (least == most ? "" : "," + most) + "}";
    }
    if (shape.exponent) out += "[eE][+-]?\\d{1,2}";
    return out;
  }

  void note_sign(SignPlace place, Shape& shape) const {
    if (!any_negative()) shape.unseen.push_back({"sign_not_seen", place == SignPlace::unknown ? "" : "+"});
  }

  /// Presses without a number: where their frame has the width of the others, a status may stand where the
  /// others have another text. Only one that a status explains already is widened.
  void status_of_others(const Candidate&, Shape& shape) {
    for (const auto& [body, press] : without_) {
      if (!press->shown->status || shape.status_map.empty()) continue;
      const auto at = status_column(body);
      if (!at.empty()) shape.status_map.emplace(at, std::string(name(*press->shown->status)));
    }
  }

  /// The text that this frame has where the frames of one width show their status.
  std::string status_column(const std::string& body) const {
    for (std::size_t i = 0; i < body.size(); ++i) {
      std::map<char, GaugeStatus> map;
      bool alike = true;
      for (std::size_t k = 0; k < bodies_.size() && alike; ++k) {
        alike = bodies_[k].size() == body.size();
        if (!alike) break;
        const auto status = known_[k].press->shown->status.value_or(GaugeStatus::ok);
        const auto [at, added] = map.emplace(bodies_[k][i], status);
        alike = added || at->second == status;
      }
      if (alike && map.size() > 1 && !map.contains(body[i])) return std::string(1, body[i]);
    }
    return {};
  }

  std::optional<Remark> settle_unit(const Candidate& candidate, bool in_frame, Shape& shape) const {
    std::set<std::string> units;
    for (const auto& known : known_) units.insert(unit_of(known));
    const bool all_told = !units.contains("");
    units.erase("");
    if (!in_frame) {
      if (units.empty()) return Remark{"unit_unknown", ""};
      if (units.size() > 1) return Remark{"unit_not_in_frame", *units.begin() + ", " + *units.rbegin()};
      shape.unit = *units.begin();
      if (all_told) shape.unseen.push_back({"unit_not_sent", *shape.unit});
    }
    if (candidate.key.mark != 0) return std::nullopt;
    std::set<int> decimals;
    for (const auto& [unit, count] : candidate.decimals) decimals.insert(count);
    if (decimals.size() == 1) {
      shape.implied_decimals = *decimals.begin();
      return std::nullopt;
    }
    if (candidate.decimals.contains("")) return Remark{"unit_unknown", ""};
    shape.decimals_by_unit = candidate.decimals;
    return std::nullopt;
  }

  std::vector<std::string> bodies_;
  std::vector<Known> known_;
  std::vector<std::pair<std::string, const Press*>> without_;
};

}  // namespace

ShapeSearch find_text_shapes(const std::vector<std::string>& bodies, const std::vector<Press>& presses) {
  return TextSearch(bodies, presses).search();
}

}  // namespace tallystick::learn
