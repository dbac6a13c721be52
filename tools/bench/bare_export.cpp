#include "tools/bench/bare_export.hpp"

#include <openssl/evp.h>
#include <sqlite3.h>

#include <array>
#include <charconv>
#include <string_view>
#include <vector>

namespace tallystick::bench {

namespace {

constexpr std::size_t piece_bytes = 192 * 1024;

/// Letters that ask for quotes (CSV) or for an escape (JSON).
constexpr std::array<bool, 256> asks_for_quotes = [] {
  std::array<bool, 256> out{};
  for (const char letter : {'"', ',', '\r', '\n'}) out[static_cast<unsigned char>(letter)] = true;
  return out;
}();
constexpr std::array<bool, 256> asks_for_escape = [] {
  std::array<bool, 256> out{};
  for (unsigned control = 0; control < 0x20; ++control) out[control] = true;
  out['"'] = out['\\'] = true;
  return out;
}();

class Rows {
 public:
  Rows(const std::filesystem::path& journal, const std::string& sql) {
    // No mutex: one thread has this connection.
    if (sqlite3_open_v2(journal.c_str(), &database_, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX, nullptr) !=
            SQLITE_OK ||
        sqlite3_prepare_v2(database_, sql.c_str(), -1, &statement_, nullptr) != SQLITE_OK)
      give_up(std::string("bare loop: ") + sqlite3_errmsg(database_));
  }
  ~Rows() {
    sqlite3_finalize(statement_);
    sqlite3_close(database_);
  }
  Rows(const Rows&) = delete;
  Rows& operator=(const Rows&) = delete;
  bool step() { return sqlite3_step(statement_) == SQLITE_ROW; }
  int columns() const { return sqlite3_column_count(statement_); }
  bool is_integer(int column) const { return sqlite3_column_type(statement_, column) == SQLITE_INTEGER; }
  std::int64_t integer(int column) const { return sqlite3_column_int64(statement_, column); }
  std::string_view text(int column) const {
    const auto* bytes = static_cast<const char*>(sqlite3_column_blob(statement_, column));
    return {bytes == nullptr ? "" : bytes,
            static_cast<std::size_t>(sqlite3_column_bytes(statement_, column))};
  }
  const char* name(int column) const { return sqlite3_column_name(statement_, column); }

 private:
  sqlite3* database_ = nullptr;
  sqlite3_stmt* statement_ = nullptr;
};

void append_integer(std::string& out, std::int64_t value) {
  std::array<char, 20> digits;
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value).ptr;
  out.append(digits.data(), static_cast<std::size_t>(end - digits.data()));
}

bool any(std::string_view text, const std::array<bool, 256>& asks) {
  bool found = false;
  for (const char letter : text) found |= asks[static_cast<unsigned char>(letter)];
  return found;
}

void append_cell(std::string& out, std::string_view text) {
  if (!any(text, asks_for_quotes)) {
    out.append(text);
    return;
  }
  out += '"';
  for (const char letter : text) {
    if (letter == '"') out += '"';
    out += letter;
  }
  out += '"';
}

void append_string(std::string& out, std::string_view text) {
  out += '"';
  if (!any(text, asks_for_escape)) {
    out.append(text);
  } else {
    for (const char letter : text) {
      if (letter == '"' || letter == '\\') out += '\\';
      out +=
          static_cast<unsigned char>(letter) < 0x20 ? ' ' : letter;  // no such letter stands in these facts
    }
  }
  out += '"';
}

}  // namespace

std::uint64_t bare_export(const std::filesystem::path& journal, bool json,
                          const std::function<void(const std::string&)>& piece) {
  Rows rows(journal,
            "SELECT branch.journal, fact.* FROM fact JOIN branch ON branch.number = fact.branch"
            " ORDER BY fact.branch, fact.seq, fact.n");
  std::vector<std::string> names;
  for (int column = 0; column < rows.columns(); ++column)
    names.push_back((column == 0 ? "{\"" : ",\"") + std::string(rows.name(column)) + "\":");
  std::string out;
  out.reserve(piece_bytes + 16 * 1024);
  std::uint64_t count = 0;
  while (rows.step()) {
    for (int column = 0; column < rows.columns(); ++column) {
      if (column == 1) continue;  // the branch's number: its journal id stands for it
      if (json)
        out += names[static_cast<std::size_t>(column)];
      else if (column > 0)
        out += ',';
      if (rows.is_integer(column))
        append_integer(out, rows.integer(column));
      else
        json ? append_string(out, rows.text(column)) : append_cell(out, rows.text(column));
    }
    out += json ? "}\n" : "\r\n";
    ++count;
    if (out.size() < piece_bytes) continue;
    piece(out);
    out.clear();
  }
  piece(out);
  return count;
}

Work bare_chain_work(const std::filesystem::path& journal) {
  return [journal]() -> std::uint64_t {
    Rows rows(journal, "SELECT * FROM entry ORDER BY branch, seq");
    EVP_MD* kind = EVP_MD_fetch(nullptr, "SHA256", nullptr);
    EVP_MD_CTX* context = EVP_MD_CTX_new();
    std::array<unsigned char, EVP_MAX_MD_SIZE> hash{};
    unsigned int size = 0;
    std::uint64_t count = 0;
    std::string input;
    const int hashed = rows.columns() - 1;  // all but the hash itself
    while (rows.step()) {
      input.clear();
      for (int column = 0; column < hashed; ++column) {
        if (rows.is_integer(column)) {
          const std::int64_t value = rows.integer(column);
          input.append(reinterpret_cast<const char*>(&value), sizeof value);
        } else {
          input.append(rows.text(column));
        }
      }
      EVP_DigestInit_ex2(context, kind, nullptr);
      EVP_DigestUpdate(context, input.data(), input.size());
      EVP_DigestFinal_ex(context, hash.data(), &size);
      ++count;
    }
    keep(hash);
    EVP_MD_CTX_free(context);
    EVP_MD_free(kind);
    return count;
  };
}

}  // namespace tallystick::bench
