#include "daemon/measure/json_mirror.hpp"
#include "daemon/export/columns.hpp"

#include <boost/mp11.hpp>
#include <charconv>
#include <type_traits>

#include "daemon/export/csv.hpp"
#include "daemon/export/json_lines.hpp"

namespace tallystick::exporting {
namespace {

using Members = mirror::MembersOf<Fact>;

void append_number(std::string& out, std::uint64_t number) {
  std::array<char, 20> digits;
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr;
  out.append(digits.data(), static_cast<std::size_t>(end - digits.data()));
}

// `"name":` of each column, made once.
const std::array<std::string, record::fact_columns>& json_names() {
  static const auto names = [] {
    std::array<std::string, record::fact_columns> out;
    for (std::size_t index = 0; index < out.size(); ++index) {
      out[index] = ",";
      append_json_string(out[index], record::fact_column_names()[index]);
      out[index] += ':';
    }
    return out;
  }();
  return names;
}

}  // namespace

const std::array<ColumnKind, record::fact_columns>& fact_column_kinds() {
  static const auto kinds = [] {
    std::array<ColumnKind, record::fact_columns> out{};
    std::size_t index = 0;
    boost::mp11::mp_for_each<Members>([&](auto member) {
      using Type = std::remove_cvref_t<decltype(std::declval<Fact>().*member.pointer)>;
      if constexpr (std::is_same_v<Type, bool>) {
        out[index] = ColumnKind::flag;
      } else if constexpr (std::is_arithmetic_v<Type>) {
        out[index] = ColumnKind::number;
      } else {
        static_assert(std::is_same_v<Type, std::string>);
        out[index] = ColumnKind::text;
      }
      ++index;
    });
    return out;
  }();
  return kinds;
}

const std::string& csv_header() {
  static const std::string header = [] {
    std::string out = "journal,seq,n";
    for (const auto name : record::fact_column_names()) {
      out += ',';
      append_cell(out, name);
    }
    return out + "\r\n";
  }();
  return header;
}

void append_csv(std::string& out, const record::RawFact& fact) {
  append_cell(out, fact.journal());
  out += ',';
  append_number(out, fact.seq());
  out += ',';
  append_number(out, fact.n());
  for (std::size_t index = 0; index < record::fact_columns; ++index) {
    out += ',';
    append_cell(out, fact.column(index));
  }
  out += "\r\n";
}

void append_json_line(std::string& out, const record::RawFact& fact) {
  const auto& kinds = fact_column_kinds();
  const auto& names = json_names();
  out += "{\"journal\":";
  append_json_string(out, fact.journal());
  out += ",\"seq\":";
  append_number(out, fact.seq());
  out += ",\"n\":";
  append_number(out, fact.n());
  for (std::size_t index = 0; index < record::fact_columns; ++index) {
    out += names[index];
    const auto cell = fact.column(index);
    switch (kinds[index]) {
      case ColumnKind::text:
        append_json_string(out, cell);
        break;
      case ColumnKind::number:
        out += cell.empty() ? std::string_view("0") : cell;
        break;
      case ColumnKind::flag:
        out += cell == "1" ? "true" : "false";
        break;
    }
  }
  out += "}\n";
}

}  // namespace tallystick::exporting
