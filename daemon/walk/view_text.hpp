// A bench's view as ready-made JSON text, member by member: it is written anew after every event, compared with the
// one before, and handed to the displays as it stands, without a tree between.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "daemon/measure/json_mirror.hpp"

namespace tallystick::walk {

/// One member of the view: a name that lives for ever, and its value as JSON text.
struct ViewMember {
  std::string_view name;
  std::string text;
  std::uint64_t changed = 0;   ///< the view's sequence when the text became what it is
};

/// All members of VIEW.md but `sequence`, which stands beside them. Always the same names in the same order.
struct ViewText {
  std::uint64_t sequence = 0;
  std::vector<ViewMember> members;

  /// The value's text; "null" where there is no such member.
  std::string_view at(std::string_view name) const {
    for (const auto& member : members)
      if (member.name == name) return member.text;
    return "null";
  }
};

/// The same as a tree, for what asks seldom.
inline boost::json::object json_of(const ViewText& view) {
  boost::json::object out;
  for (const auto& member : view.members)
    out[boost::json::string_view(member.name.data(), member.name.size())] =
        boost::json::parse(boost::json::string_view(member.text.data(), member.text.size()));
  return out;
}

/// Writes one JSON object, name by name; closed when it goes.
class ObjectText {
 public:
  explicit ObjectText(std::string& out) : out_(out) { out_ += '{'; }
  ~ObjectText() { out_ += '}'; }
  ObjectText(const ObjectText&) = delete;
  ObjectText& operator=(const ObjectText&) = delete;

  /// The name is written; the value is to follow.
  std::string& at(std::string_view name) {
    if (begun_) out_ += ',';
    begun_ = true;
    out_ += '"';
    out_ += name;   // of ours: nothing in it needs an escape
    out_ += "\":";
    return out_;
  }
  void add(std::string_view name, std::nullptr_t) { at(name) += "null"; }
  template <class T>
  void add(std::string_view name, const T& value) {
    if constexpr (std::is_convertible_v<const T&, std::string_view>) mirror::append_string(at(name), value);
    else mirror::append(at(name), value);
  }
  /// Null where the text is empty.
  void add_or_null(std::string_view name, std::string_view text) {
    if (text.empty()) add(name, nullptr);
    else mirror::append_string(at(name), text);
  }

 private:
  std::string& out_;
  bool begun_ = false;
};

/// Writes one JSON list.
class ListText {
 public:
  explicit ListText(std::string& out) : out_(out) { out_ += '['; }
  ~ListText() { out_ += ']'; }
  ListText(const ListText&) = delete;
  ListText& operator=(const ListText&) = delete;
  /// The next item is to follow.
  std::string& next() {
    if (begun_) out_ += ',';
    begun_ = true;
    return out_;
  }

 private:
  std::string& out_;
  bool begun_ = false;
};

/// Writes a view over an older one, whose texts' memory is used again.
class ViewWriter {
 public:
  explicit ViewWriter(ViewText& view) : view_(view) {}
  /// The place of a member's text, empty; valid until the next member.
  std::string& at(std::string_view name) {
    if (next_ == view_.members.size()) view_.members.emplace_back();
    auto& member = view_.members[next_++];
    member.name = name;
    member.text.clear();
    return member.text;
  }
  void add(std::string_view name, std::nullptr_t) { at(name) = "null"; }
  template <class T>
  void add(std::string_view name, const T& value) {
    if constexpr (std::is_convertible_v<const T&, std::string_view>) mirror::append_string(at(name), value);
    else mirror::append(at(name), value);
  }
  void add_or_null(std::string_view name, std::string_view text) {
    if (text.empty()) add(name, nullptr);
    else mirror::append_string(at(name), text);
  }

 private:
  ViewText& view_;
  std::size_t next_ = 0;
};

}  // namespace tallystick::walk
