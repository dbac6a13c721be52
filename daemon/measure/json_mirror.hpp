// JSON for described structs: members by name, in declaration order. Members that equal their default are left out
// when writing and keep their default when reading, so a struct may grow without a new format.
#pragma once

#include <algorithm>
#include <array>
#include <boost/describe.hpp>
#include <boost/json.hpp>
#include <boost/mp11/algorithm.hpp>
#include <charconv>
#include <concepts>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "daemon/measure/error.hpp"

namespace tallystick::mirror {

template <class T>
concept Described = boost::describe::has_describe_members<T>::value && !std::is_union_v<T>;
template <class T>
concept DescribedEnum = boost::describe::has_describe_enumerators<T>::value;

/// All members of a described struct, those of its bases first.
template <class T>
using MembersOf = boost::describe::describe_members<T, boost::describe::mod_public | boost::describe::mod_inherited>;

template <class T> struct is_optional : std::false_type {};
template <class T> struct is_optional<std::optional<T>> : std::true_type {};
template <class T> struct is_vector : std::false_type {};
template <class T> struct is_vector<std::vector<T>> : std::true_type {};
template <class T> struct is_text_map : std::false_type {};
template <class T> struct is_text_map<std::map<std::string, T>> : std::true_type {};

/// Writes any mirror of ours: described structs and enums, optional, vector, map by text, text, bool, whole numbers,
/// double, boost::json::value. `Whole`: members that equal their default too (for clients that should not know them).
template <bool Whole = false, class T>
boost::json::value write(const T& value) {
  if constexpr (std::is_same_v<T, boost::json::value> || std::is_same_v<T, bool> || std::is_arithmetic_v<T>) {
    return value;
  } else if constexpr (std::is_same_v<T, std::string>) {
    return boost::json::string(value);
  } else if constexpr (is_optional<T>::value) {
    return value ? write<Whole>(*value) : boost::json::value(nullptr);
  } else if constexpr (is_vector<T>::value) {
    boost::json::array out;
    out.reserve(value.size());
    for (const auto& item : value) out.push_back(write<Whole>(item));
    return out;
  } else if constexpr (is_text_map<T>::value) {
    boost::json::object out;
    for (const auto& [key, item] : value) out.emplace(key, write<Whole>(item));
    return out;
  } else if constexpr (DescribedEnum<T>) {
    return boost::json::string(boost::describe::enum_to_string(value, "?"));
  } else {
    static_assert(Described<T>, "no mirror for this type");
    static const T defaults{};
    boost::json::object out;
    boost::mp11::mp_for_each<MembersOf<T>>([&](auto member) {
      if (Whole || !(value.*member.pointer == defaults.*member.pointer))
        out.emplace(member.name, write<Whole>(value.*member.pointer));
    });
    return out;
  }
}

/// Appends a JSON string, as Boost.JSON writes it.
inline void append_string(std::string& out, std::string_view value) {
  const bool plain = std::none_of(value.begin(), value.end(), [](char c) {
    return static_cast<unsigned char>(c) < 0x20 || c == '"' || c == '\\';
  });
  if (!plain) {
    out += boost::json::serialize(boost::json::string_view(value.data(), value.size()));
    return;
  }
  out += '"';
  out += value;
  out += '"';
}

template <std::integral T>
void append_number(std::string& out, T value) {
  std::array<char, 24> digits{};
  const auto [end, error] = std::to_chars(digits.data(), digits.data() + digits.size(), value);
  out.append(digits.data(), static_cast<std::size_t>(end - digits.data()));
}

/// Appends what `boost::json::serialize(write<Whole>(value))` would be, byte for byte, without the tree between: the
/// outcome of every event goes this way.
template <bool Whole = false, class T>
void append(std::string& out, const T& value) {
  if constexpr (std::is_same_v<T, bool>) {
    out += value ? "true" : "false";
  } else if constexpr (std::is_integral_v<T>) {
    append_number(out, value);
  } else if constexpr (std::is_same_v<T, boost::json::value> || std::is_arithmetic_v<T>) {
    out += boost::json::serialize(boost::json::value(value));
  } else if constexpr (std::is_same_v<T, std::string>) {
    append_string(out, value);
  } else if constexpr (is_optional<T>::value) {
    if (value) append<Whole>(out, *value);
    else out += "null";
  } else if constexpr (is_vector<T>::value) {
    out += '[';
    bool first = true;
    for (const auto& item : value) {
      if (!std::exchange(first, false)) out += ',';
      append<Whole>(out, static_cast<const typename T::value_type&>(item));
    }
    out += ']';
  } else if constexpr (is_text_map<T>::value) {
    out += '{';
    bool first = true;
    for (const auto& [key, item] : value) {
      if (!std::exchange(first, false)) out += ',';
      append_string(out, key);
      out += ':';
      append<Whole>(out, item);
    }
    out += '}';
  } else if constexpr (DescribedEnum<T>) {
    append_string(out, boost::describe::enum_to_string(value, "?"));
  } else {
    static_assert(Described<T>, "no mirror for this type");
    static const T defaults{};
    out += '{';
    bool first = true;
    boost::mp11::mp_for_each<MembersOf<T>>([&](auto member) {
      if (!Whole && value.*member.pointer == defaults.*member.pointer) return;
      if (!std::exchange(first, false)) out += ',';
      out += '"';
      out += member.name;
      out += "\":";
      append<Whole>(out, value.*member.pointer);
    });
    out += '}';
  }
}

template <class T>
std::string text(const T& value) {
  std::string out;
  append(out, value);
  return out;
}

/// Reads into `out`. Error "wrong_shape" names the member and what was found. Unknown members are an error
/// ("unknown_member") only when `strict`.
template <class T>
Done read(const boost::json::value& from, T& out, const std::string& where = "", bool strict = false) {
  const auto wrong = [&](const char* expected) -> Done {
    return fail("wrong_shape", std::string("expected ") + expected + ", found " + boost::json::serialize(from).substr(0, 60), where);
  };
  if constexpr (std::is_same_v<T, boost::json::value>) {
    out = from;
  } else if constexpr (std::is_same_v<T, bool>) {
    if (!from.is_bool()) return wrong("true or false");
    out = from.as_bool();
  } else if constexpr (std::is_integral_v<T>) {
    boost::system::error_code code;
    const T number = from.to_number<T>(code);
    if (code) return wrong("a whole number");
    out = number;
  } else if constexpr (std::is_floating_point_v<T>) {
    if (!from.is_number()) return wrong("a number");
    out = from.to_number<T>();
  } else if constexpr (std::is_same_v<T, std::string>) {
    if (!from.is_string()) return wrong("a text");
    out = std::string(from.as_string());
  } else if constexpr (is_optional<T>::value) {
    if (from.is_null()) { out.reset(); return {}; }
    out.emplace();
    return read(from, *out, where, strict);
  } else if constexpr (is_vector<T>::value) {
    if (!from.is_array()) return wrong("a list");
    out.clear();
    for (const auto& item : from.as_array()) {
      typename T::value_type element{};
      if (auto done = read(item, element, where + "[" + std::to_string(out.size()) + "]", strict); !done) return done;
      out.push_back(std::move(element));
    }
  } else if constexpr (is_text_map<T>::value) {
    if (!from.is_object()) return wrong("an object");
    out.clear();
    for (const auto& [key, item] : from.as_object()) {
      typename T::mapped_type element{};
      if (auto done = read(item, element, where + "." + std::string(key), strict); !done) return done;
      out.emplace(std::string(key), std::move(element));
    }
  } else if constexpr (DescribedEnum<T>) {
    if (!from.is_string() || !boost::describe::enum_from_string(std::string(from.as_string()).c_str(), out)) return wrong("a known word");
  } else {
    static_assert(Described<T>, "no mirror for this type");
    if (!from.is_object()) return wrong("an object");
    Done done;
    std::size_t known = 0;
    boost::mp11::mp_for_each<MembersOf<T>>([&](auto member) {
      if (!done) return;
      if (const auto* item = from.as_object().if_contains(member.name)) {
        ++known;
        done = read(*item, out.*member.pointer, where.empty() ? member.name : where + "." + member.name, strict);
      }
    });
    if (!done) return done;
    if (strict && known != from.as_object().size()) {
      for (const auto& member : from.as_object()) {
        bool found = false;
        boost::mp11::mp_for_each<MembersOf<T>>([&](auto m) { found = found || member.key() == m.name; });
        if (!found) return fail("unknown_member", "unknown member \"" + std::string(member.key()) + "\"", where);
      }
    }
  }
  return {};
}

template <class T>
Expected<T> parse(std::string_view json, bool strict = false) {
  boost::system::error_code code;
  const auto value = boost::json::parse({json.data(), json.size()}, code);
  if (code) return fail("not_json", "not JSON: " + code.message());
  T out{};
  if (auto done = read(value, out, "", strict); !done) return tl::unexpected(done.error());
  return out;
}

}  // namespace tallystick::mirror
