// Text -> expression: a recursive descent with one function a level of binding.
#include <algorithm>
#include <cctype>

#include "daemon/checklist/expression_node.hpp"

namespace tallystick::checklist {
namespace {

using Node = Expression::Node;
using Kind = Node::Kind;

constexpr std::size_t longest_text = 1000;
constexpr int deepest = 60;

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_'; }

Node joined(Kind kind, Node left, Node right) {
  Node out;
  out.kind = kind;
  out.arguments.push_back(std::move(left));
  out.arguments.push_back(std::move(right));
  return out;
}

class Reader {
 public:
  explicit Reader(std::string_view text) : text_(text) {}

  Expected<Node> whole_value() {
    auto out = sum();
    return finished(std::move(out), "an operator (+ - * /) or the end");
  }
  Expected<Node> whole_condition() {
    auto out = either();
    return finished(std::move(out), "\"and\", \"or\" or the end");
  }

 private:
  Expected<Node> finished(Expected<Node> out, const char* expected) {
    if (!out) return out;
    skip_blanks();
    if (at_ != text_.size()) return wrong(expected);
    return out;
  }

  tl::unexpected<Error> wrong(const std::string& expected) const {
    const auto found = at_ < text_.size() ? "\"" + std::string(text_.substr(at_, 12)) + "\"" : "the end";
    return fail("expression", "expected " + expected + " at character " + std::to_string(at_ + 1) +
                                  ", found " + found + " in \"" + std::string(text_.substr(0, longest_text)) +
                                  "\"");
  }
  void skip_blanks() {
    while (at_ < text_.size() && text_[at_] == ' ') ++at_;
  }
  bool take(std::string_view token) {
    skip_blanks();
    if (text_.substr(at_, token.size()) != token) return false;
    // A word ends where its letters end: "order" is no "or".
    const auto end = at_ + token.size();
    if (is_letter(token.front()) && end < text_.size() && (is_letter(text_[end]) || is_digit(text_[end])))
      return false;
    at_ = end;
    return true;
  }

  Expected<Node> either() {
    auto left = both();
    while (left && take("or")) {
      auto right = both();
      if (!right) return right;
      left = joined(Kind::either, std::move(*left), std::move(*right));
    }
    return left;
  }
  Expected<Node> both() {
    auto left = one_condition();
    while (left && take("and")) {
      auto right = one_condition();
      if (!right) return right;
      left = joined(Kind::both, std::move(*left), std::move(*right));
    }
    return left;
  }
  Expected<Node> one_condition() {
    if (++depth_ > deepest) return wrong("fewer nested parentheses");
    auto out = one_condition_inside();
    --depth_;
    return out;
  }
  Expected<Node> one_condition_inside() {
    if (take("not")) {
      auto inner = one_condition();
      if (!inner) return inner;
      Node out;
      out.kind = Kind::negation;
      out.arguments.push_back(std::move(*inner));
      return out;
    }
    if (take("given")) {
      if (!take("(")) return wrong("\"(\" after given");
      auto column = name();
      if (!column) return column;
      if (!take(")")) return wrong("\")\"");
      column->kind = Kind::given;
      return column;
    }
    // "(" may open a condition or a value: the condition is tried first, and the farther reading explains
    // itself.
    skip_blanks();
    const auto begin = at_;
    if (take("(")) {
      auto inner = either();
      if (inner && take(")")) return inner;
      at_ = begin;
    }
    return comparison();
  }
  Expected<Node> comparison() {
    auto left = sum();
    if (!left) return left;
    static constexpr std::pair<const char*, Kind> comparisons[] = {
        {"<=", Kind::at_most}, {">=", Kind::at_least}, {"<>", Kind::differs},
        {"<", Kind::less},     {">", Kind::more},      {"=", Kind::equal}};
    for (const auto& [token, kind] : comparisons) {
      if (!take(token)) continue;
      auto right = sum();
      if (!right) return right;
      return joined(kind, std::move(*left), std::move(*right));
    }
    return wrong("a comparison (= <> < <= > >=)");
  }

  Expected<Node> sum() {
    auto left = product();
    while (left) {
      const bool adds = take("+");
      if (!adds && !take("-")) break;
      auto right = product();
      if (!right) return right;
      left = joined(adds ? Kind::add : Kind::subtract, std::move(*left), std::move(*right));
    }
    return left;
  }
  Expected<Node> product() {
    auto left = factor();
    while (left) {
      const bool multiplies = take("*");
      if (!multiplies && !take("/")) break;
      auto right = factor();
      if (!right) return right;
      left = joined(multiplies ? Kind::multiply : Kind::divide, std::move(*left), std::move(*right));
    }
    return left;
  }
  Expected<Node> factor() {
    if (++depth_ > deepest) return wrong("fewer nested parentheses");
    auto out = factor_inside();
    --depth_;
    return out;
  }
  Expected<Node> factor_inside() {
    if (take("-")) {
      auto inner = factor();
      if (!inner) return inner;
      Node out;
      out.kind = Kind::negate;
      out.arguments.push_back(std::move(*inner));
      return out;
    }
    if (take("(")) {
      auto inner = sum();
      if (inner && !take(")")) return wrong("\")\"");
      return inner;
    }
    skip_blanks();
    if (at_ < text_.size() && is_digit(text_[at_])) return decimal();
    auto word = name();
    if (!word) return wrong("a decimal, a column or \"(\"");
    static constexpr std::pair<const char*, Kind> functions[] = {
        {"min", Kind::least}, {"max", Kind::greatest}, {"round", Kind::round}};
    for (const auto& [function, kind] : functions)
      if (word->text == function && take("(")) return arguments(kind);
    return word;
  }
  Expected<Node> arguments(Kind kind) {
    Node out;
    out.kind = kind;
    do {
      auto argument = sum();
      if (!argument) return argument;
      out.arguments.push_back(std::move(*argument));
    } while (take(","));
    if (!take(")")) return wrong("\",\" or \")\"");
    if (kind == Kind::round && out.arguments.size() != 2)
      return wrong("two values in round(x, step), before here");
    if (out.arguments.size() < 2) return wrong("two values or more in min and max, before here");
    return out;
  }

  Expected<Node> decimal() {
    const auto begin = at_;
    while (at_ < text_.size() && is_digit(text_[at_])) ++at_;
    if (at_ < text_.size() && text_[at_] == '.') {
      ++at_;
      const auto fraction = at_;
      while (at_ < text_.size() && is_digit(text_[at_])) ++at_;
      if (at_ == fraction) return wrong("a digit after the point");
    }
    Node out;
    out.text = text_.substr(begin, at_ - begin);
    auto value = decimal_from(out.text);
    if (!value) return tl::unexpected(value.error());
    out.value = std::move(*value);
    const auto after = at_;
    skip_blanks();
    const auto unit = unit_here();
    if (unit) {
      out.unit = unit;
      out.text = text_.substr(begin, at_ - begin);
    } else if (at_ < text_.size() && is_letter(text_[at_]) && !word_here("and") && !word_here("or")) {
      return wrong("a unit or an operator");
    } else {
      at_ = after;
    }
    return out;
  }
  bool word_here(std::string_view word) {
    const auto begin = at_;
    const bool found = take(word);
    at_ = begin;
    return found;
  }
  /// The longest unit's name that begins here and is not the beginning of a longer word.
  std::optional<Unit> unit_here() {
    std::optional<Unit> best;
    std::size_t length = 0;
    for (const auto unit : Unit::all()) {
      const auto end = at_ + unit.name().size();
      if (text_.substr(at_, unit.name().size()) != unit.name() || unit.name().size() <= length) continue;
      if (end < text_.size() && (is_letter(text_[end]) || is_digit(text_[end]))) continue;
      best = unit;
      length = unit.name().size();
    }
    at_ += length;
    return best;
  }
  Expected<Node> name() {
    skip_blanks();
    const auto begin = at_;
    if (begin >= text_.size() || !is_letter(text_[begin])) return wrong("a column's name");
    while (at_ < text_.size() && (is_letter(text_[at_]) || is_digit(text_[at_]))) ++at_;
    Node out;
    out.kind = Kind::column;
    out.text = text_.substr(begin, at_ - begin);
    return out;
  }

  std::string_view text_;
  std::size_t at_ = 0;
  int depth_ = 0;
};

Expected<std::shared_ptr<const Node>> kept(Expected<Node> node) {
  if (!node) return tl::unexpected(node.error());
  return std::make_shared<const Node>(std::move(*node));
}

Done short_enough(std::string_view text) {
  if (text.size() <= longest_text) return {};
  return fail("expression", "an expression of " + std::to_string(text.size()) + " characters", "",
              "at most " + std::to_string(longest_text) + ": put parts of it into columns");
}

}  // namespace

Expected<Expression> Expression::value(std::string_view text) {
  if (auto done = short_enough(text); !done) return tl::unexpected(done.error());
  auto root = kept(Reader(text).whole_value());
  if (!root) return tl::unexpected(root.error());
  Expression out;
  out.root_ = std::move(*root);
  return out;
}

Expected<Expression> Expression::condition(std::string_view text) {
  if (auto done = short_enough(text); !done) return tl::unexpected(done.error());
  auto root = kept(Reader(text).whole_condition());
  if (!root) return tl::unexpected(root.error());
  Expression out;
  out.root_ = std::move(*root);
  return out;
}

}  // namespace tallystick::checklist
