#include "drivers/decode/scan_plan.hpp"

#include <algorithm>
#include <charconv>
#include <utility>

namespace tallystick::decode {

namespace {

using Kind = ScanPlan::Kind;
using Operation = ScanPlan::Operation;
constexpr std::uint32_t unbounded = 1'000'000;

ByteSet range(unsigned char from, unsigned char to) {
  ByteSet set;
  for (unsigned int c = from; c <= to; ++c) set.set(c);
  return set;
}

/// Reads a pattern from left to right. Every function returns false for "not of the simple kind".
class PatternReader {
 public:
  explicit PatternReader(std::string_view pattern) : rest_(pattern) {}

  bool read_whole(std::vector<Operation>& out) { return read_sequence(out, 0) && rest_.empty(); }

 private:
  bool read_sequence(std::vector<Operation>& out, int depth) {
    while (!rest_.empty() && rest_.front() != ')') {
      if (rest_.front() == '(' ? !read_group(out, depth) : !read_run(out)) return false;
    }
    return true;
  }

  bool read_group(std::vector<Operation>& out, int depth) {
    if (depth > 4) return false;
    rest_.remove_prefix(1);
    std::optional<Field> field;
    if (take("?P<")) {
      const auto close = rest_.find('>');
      if (close == std::string_view::npos) return false;
      field = field_named(rest_.substr(0, close));
      if (!field) return false;
      rest_.remove_prefix(close + 1);
    } else if (!take("?:")) {
      return false;
    }
    std::vector<Operation> inside;
    if (field) inside.push_back(mark(Kind::open, *field));
    if (!read_words(inside) && !read_sequence(inside, depth + 1)) return false;
    if (!take(")")) return false;
    if (field) inside.push_back(mark(Kind::close, *field));
    if (take("?")) {
      if (!rest_.empty() && rest_.front() == '?') return false;  // reluctant
      Operation maybe;
      maybe.kind = Kind::maybe;
      maybe.skip_to = inside.size();  // relative until placed
      out.push_back(maybe);
    } else if (!rest_.empty() && std::string_view("*+{").find(rest_.front()) != std::string_view::npos) {
      return false;
    }
    out.insert(out.end(), std::make_move_iterator(inside.begin()), std::make_move_iterator(inside.end()));
    return true;
  }

  /// "mm|in)": plain words up to the end of the group. Leaves rest_ alone where it is something else.
  bool read_words(std::vector<Operation>& out) {
    const auto end = rest_.find(')');
    const std::string_view text = rest_.substr(0, end);
    if (end == std::string_view::npos || text.find('|') == std::string_view::npos) return false;
    if (text.find_first_of("\\[](){}.*+?^$") != std::string_view::npos) return false;
    Operation words;
    words.kind = Kind::words;
    std::string_view left = text;
    for (;;) {
      const auto bar = left.find('|');
      words.words.emplace_back(left.substr(0, bar));
      if (bar == std::string_view::npos) break;
      left.remove_prefix(bar + 1);
    }
    for (const auto& a : words.words) {
      if (a.empty()) return false;
      const auto begins = [&](const std::string& b) { return b.starts_with(a); };
      if (std::count_if(words.words.begin(), words.words.end(), begins) != 1) return false;
    }
    out.push_back(std::move(words));
    rest_.remove_prefix(end);
    return true;
  }

  bool read_run(std::vector<Operation>& out) {
    Operation run;
    run.kind = Kind::run;
    if (!read_set(run.set) || run.set.none() || !read_repeat(run.least, run.most)) return false;
    out.push_back(std::move(run));
    return true;
  }

  bool read_set(ByteSet& set) {
    const char c = rest_.front();
    if (c == '[') return read_class(set);
    if (c == '\\') return read_escape(set);
    if (std::string_view(".^$|*+?{}").find(c) != std::string_view::npos) return false;
    if (static_cast<unsigned char>(c) >= 0x80) return false;
    set.set(static_cast<unsigned char>(c));
    rest_.remove_prefix(1);
    return true;
  }

  bool read_escape(ByteSet& set) {
    if (rest_.size() < 2) return false;
    const char c = rest_[1];
    if (c == 'x') return read_hex_escape(set);
    rest_.remove_prefix(2);
    switch (c) {
      case 'd':
        set |= range('0', '9');
        return true;
      case 'r':
        set.set('\r');
        return true;
      case 'n':
        set.set('\n');
        return true;
      case 't':
        set.set('\t');
        return true;
      default:
        break;
    }
    if (std::string_view(".*+?()[]{}|^$\\/-").find(c) == std::string_view::npos) return false;
    set.set(static_cast<unsigned char>(c));
    return true;
  }

  bool read_hex_escape(ByteSet& set) {
    if (rest_.size() < 4) return false;
    unsigned int value = 0;
    const auto [end, error] = std::from_chars(rest_.data() + 2, rest_.data() + 4, value, 16);
    if (error != std::errc{} || end != rest_.data() + 4) return false;
    set.set(value);
    rest_.remove_prefix(4);
    return true;
  }

  bool read_class(ByteSet& set) {
    rest_.remove_prefix(1);
    if (rest_.empty() || rest_.front() == '^' || rest_.front() == ']' || rest_.front() == '[') return false;
    while (!rest_.empty() && rest_.front() != ']') {
      if (rest_.front() == '[') return false;
      if (rest_.front() == '\\') {
        ByteSet escaped;
        if (!read_escape(escaped)) return false;
        if (!rest_.empty() && rest_.front() == '-' && rest_.size() > 1 && rest_[1] != ']') return false;
        set |= escaped;
        continue;
      }
      const auto from = static_cast<unsigned char>(rest_.front());
      if (from >= 0x80) return false;
      rest_.remove_prefix(1);
      if (rest_.size() > 1 && rest_.front() == '-' && rest_[1] != ']') {
        const auto to = static_cast<unsigned char>(rest_[1]);
        if (to < from || to >= 0x80 || to == '\\' || to == '[') return false;
        set |= range(from, to);
        rest_.remove_prefix(2);
      } else {
        set.set(from);
      }
    }
    return take("]");
  }

  bool read_repeat(std::uint32_t& least, std::uint32_t& most) {
    if (take("?"))
      least = 0, most = 1;
    else if (take("*"))
      least = 0, most = unbounded;
    else if (take("+"))
      least = 1, most = unbounded;
    else if (take("{") && !read_counts(least, most))
      return false;
    return rest_.empty() || std::string_view("?*+{").find(rest_.front()) == std::string_view::npos;
  }

  bool read_counts(std::uint32_t& least, std::uint32_t& most) {
    if (!read_count(least)) return false;
    most = least;
    if (take(",")) {
      if (rest_.starts_with('}'))
        most = unbounded;
      else if (!read_count(most))
        return false;
    }
    return take("}") && least <= most;
  }

  bool read_count(std::uint32_t& count) {
    const auto [end, error] = std::from_chars(rest_.data(), rest_.data() + rest_.size(), count);
    if (error != std::errc{} || count > 255) return false;
    rest_.remove_prefix(static_cast<std::size_t>(end - rest_.data()));
    return true;
  }

  static Operation mark(Kind kind, Field field) {
    Operation operation;
    operation.kind = kind;
    operation.field = field;
    return operation;
  }

  bool take(std::string_view text) {
    if (!rest_.starts_with(text)) return false;
    rest_.remove_prefix(text.size());
    return true;
  }

  std::string_view rest_;
};

/// Whether the operations can take no byte at all.
bool may_be_empty(const std::vector<Operation>& operations, std::size_t from, std::size_t to) {
  for (std::size_t i = from; i < to; ++i) {
    const auto& o = operations[i];
    if (o.kind == Kind::maybe) {
      i = o.skip_to - 1;
    } else if (o.kind == Kind::words || (o.kind == Kind::run && o.least > 0)) {
      return false;
    }
  }
  return true;
}

/// Makes sure that the next byte alone decides: for every choice, what may come in it and what may come after
/// it have nothing in common. Goes from the end to the front with "what may come from here on".
bool decided_by_next_byte(std::vector<Operation>& operations) {
  std::vector<ByteSet> first(operations.size() + 1);
  for (std::size_t i = operations.size(); i-- > 0;) {
    auto& o = operations[i];
    switch (o.kind) {
      case Kind::words:
        for (const auto& word : o.words) first[i].set(static_cast<unsigned char>(word.front()));
        break;
      case Kind::run:
        if (o.least != o.most && (o.set & first[i + 1]).any()) return false;
        first[i] = o.least == 0 ? (o.set | first[i + 1]) : o.set;
        break;
      case Kind::open:
      case Kind::close:
        first[i] = first[i + 1];
        break;
      case Kind::maybe:
        if (may_be_empty(operations, i + 1, o.skip_to)) return false;
        o.set = first[i + 1];
        if ((o.set & first[o.skip_to]).any()) return false;
        first[i] = o.set | first[o.skip_to];
        break;
    }
  }
  return true;
}

}  // namespace

std::optional<ScanPlan> ScanPlan::compile(std::string_view pattern) {
  std::vector<Operation> operations;
  PatternReader reader(pattern);
  if (!reader.read_whole(operations)) return std::nullopt;
  std::array<int, field_count> named{};
  for (std::size_t i = 0; i < operations.size(); ++i) {
    auto& o = operations[i];
    if (o.kind == Kind::maybe) o.skip_to += i + 1;
    if (o.kind == Kind::open && ++named[static_cast<std::size_t>(o.field)] > 1) return std::nullopt;
  }
  if (operations.size() > 100 || !decided_by_next_byte(operations)) return std::nullopt;
  ScanPlan plan;
  plan.steps_ = folded(operations);
  return plan;
}

/// A mark alone becomes a run of nothing, which always succeeds; next to a run or a choice it becomes part of
/// it.
std::vector<ScanPlan::Step> ScanPlan::folded(const std::vector<Operation>& operations) {
  std::vector<Step> steps;
  std::vector<std::size_t> step_of(operations.size() + 1);  // where each operation's step begins
  const auto is_target = [&](std::size_t at) {
    return std::any_of(operations.begin(), operations.end(),
                       [&](const auto& o) { return o.kind == Kind::maybe && o.skip_to == at; });
  };
  bool joinable = false;  // the last step may take a closing mark
  for (std::size_t i = 0; i < operations.size(); ++i) {
    const Operation& o = operations[i];
    step_of[i] = steps.size();
    if (o.kind == Kind::close && joinable && !is_target(i) && steps.back().closes == field_count) {
      steps.back().closes = static_cast<std::uint8_t>(o.field);
      step_of[i] = steps.size() - 1;
      continue;
    }
    const bool opening = joinable == false && !steps.empty() && steps.back().most == 0 &&
                         steps.back().opens != field_count && !is_target(i);
    if ((o.kind == Kind::run || o.kind == Kind::words) && opening) {
      step_of[i] = steps.size() - 1;
    } else {
      steps.emplace_back();
    }
    Step& step = steps.back();
    step.kind = o.kind == Kind::open || o.kind == Kind::close ? Kind::run : o.kind;
    step.least = o.kind == Kind::run ? o.least : 0;
    step.most = o.kind == Kind::run ? o.most : 0;
    if (o.kind == Kind::words) step.most = 1;
    if (o.kind == Kind::open) step.opens = static_cast<std::uint8_t>(o.field);
    if (o.kind == Kind::close) step.closes = static_cast<std::uint8_t>(o.field);
    for (std::size_t byte = 0; byte < 256; ++byte) step.set[byte] = o.set.test(byte);
    step.words = o.words;
    step.one = step.kind == Kind::run && step.least == 1 && step.most == 1;
    joinable = o.kind == Kind::run || o.kind == Kind::words;
  }
  step_of[operations.size()] = steps.size();
  for (std::size_t i = 0; i < operations.size(); ++i) {
    if (operations[i].kind == Kind::maybe)
      steps[step_of[i]].skips = static_cast<std::uint8_t>(step_of[operations[i].skip_to] - step_of[i] - 1);
  }
  return steps;
}

bool ScanPlan::match(std::string_view body, Fields& fields) const {
  const char* at = body.data();
  const char* const end = at + body.size();
  const auto byte = [](const char* p) { return static_cast<unsigned char>(*p); };
  std::array<const char*, field_count + 1> opened{};  // the last is for "none"
  for (auto step = steps_.begin(); step != steps_.end(); ++step) {
    opened[step->opens] = at;
    if (step->one) {   // signs, marks, letters: most of what stands round the digits
      if (at == end || !step->set[byte(at)]) return false;
      ++at;
    } else if (step->kind == Kind::run) [[likely]] {
      const auto room = static_cast<std::size_t>(end - at);
      const char* const last = at + std::min<std::size_t>(room, step->most);
      const char* const from = at;
      while (at != last && step->set[byte(at)]) ++at;
      if (static_cast<std::size_t>(at - from) < step->least) return false;
    } else if (step->kind == Kind::words) {
      const std::string_view left(at, static_cast<std::size_t>(end - at));
      const auto word = std::find_if(step->words.begin(), step->words.end(),
                                     [&](const auto& w) { return left.starts_with(w); });
      if (word == step->words.end()) return false;
      at += word->size();
    } else if (at == end || !step->set[byte(at)]) {
      step += step->skips;
      continue;
    }
    if (step->closes != field_count) {
      const char* const from = opened[step->closes];
      fields.parts[step->closes] = std::string_view(from, static_cast<std::size_t>(at - from));
    }
  }
  return at == end;
}

}  // namespace tallystick::decode
