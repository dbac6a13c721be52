// `tallystick checklist add-size`: a new size is one new row.
#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <ostream>

#include "daemon/checklist/size_table.hpp"
#include "daemon/record/configuration_files.hpp"
#include "tools/cli/configuration_commands.hpp"

namespace tallystick::cli {
namespace {

using checklist::Fault;

// --------------------------------------------------------------------------------------------------

/// The new row's fields in the table's order. Errors: unknown column or size, cell given twice or without
/// "=".
Expected<std::vector<std::string>> new_row(const checklist::SizeTable& table, const AddSizeOptions& options) {
  std::vector<std::string> fields(table.columns.size());
  if (!options.like.empty()) {
    std::vector<std::string> sizes;
    const checklist::SizeRow* like = nullptr;
    for (const auto& row : table.rows) {
      sizes.push_back(row.size);
      if (row.size == options.like) like = &row;  // the last: its newest print revision
    }
    if (like == nullptr)
      return fail("unknown_size", "there is no size \"" + options.like + "\"", "--like",
                  checklist::did_you_mean(options.like, sizes));
    fields = like->cells;
  }
  std::vector<bool> given(fields.size(), false);
  for (const auto& cell : options.cells) {
    const auto equals = cell.find('=');
    const auto column = cell.substr(0, equals);
    const auto found = std::find(table.columns.begin(), table.columns.end(), column);
    if (equals == std::string::npos)
      return fail("not_a_cell", "\"" + cell + "\" is no cell", "", "write column=value");
    if (found == table.columns.end())
      return fail("unknown_column", "there is no column \"" + column + "\"", cell,
                  checklist::did_you_mean(column, table.columns));
    const auto at = static_cast<std::size_t>(found - table.columns.begin());
    if (given[at])
      return fail("double_cell", "column \"" + column + "\" is given twice", cell, "give it once");
    given[at] = true;
    fields[at] = cell.substr(equals + 1);
  }
  return fields;
}

/// `csv` with the row put in; every other byte stays.
Expected<std::string> with_row(const std::string& csv, const checklist::SizeTable& table,
                               const std::vector<std::string>& fields, const std::string& after) {
  const std::string line_end = csv.find("\r\n") != std::string::npos ? "\r\n" : "\n";
  auto line = checklist::csv_line(fields, line_end);
  int behind = 0;  // line of the row before it
  for (const auto& row : table.rows)
    if (row.size == after) behind = row.line;
  if (!after.empty() && behind == 0)
    return fail("unknown_size", "there is no size \"" + after + "\"", "--after");
  std::size_t at = csv.size();
  if (behind > 0) {
    // The row ends where the next begins: a row may hold line breaks in quotes.
    const auto rows = checklist::read_csv(csv);
    for (std::size_t i = 0; rows && i + 1 < rows->size(); ++i) {
      if ((*rows)[i].line != behind) continue;
      at = 0;
      for (int n = 1; n < (*rows)[i + 1].line; ++n) at = csv.find('\n', at) + 1;
    }
  }
  if (at == csv.size() && !csv.ends_with('\n')) line.insert(0, line_end);
  auto out = csv;
  return out.insert(at, line);
}

/// Whole or not at all, also when the power fails in between.
Done replace_file(const std::filesystem::path& path, const std::string& bytes) {
  const auto fresh = path.string() + ".new";
  const auto cannot = [&](const std::string& why) {
    ::unlink(fresh.c_str());
    return fail("cannot_write", "cannot write " + path.string() + ": " + why, path.string(),
                "check who may write there and whether the disk is full");
  };
  const int file = ::open(fresh.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
  if (file < 0) return cannot(std::strerror(errno));
  std::size_t written = 0;
  bool good = true;
  while (good && written < bytes.size()) {
    const auto count = ::write(file, bytes.data() + written, bytes.size() - written);
    good = count >= 0 || errno == EINTR;
    if (count > 0) written += static_cast<std::size_t>(count);
  }
  good = good && ::fsync(file) == 0;
  const std::string why = std::strerror(errno);
  ::close(file);
  if (!good) return cannot(why);
  if (::rename(fresh.c_str(), path.c_str()) != 0) return cannot(std::strerror(errno));
  return {};
}

}  // namespace

int checklist_add_size(const AddSizeOptions& options, Streams streams) {
  std::vector<Fault> faults;
  const auto family = record::load_family_file(options.family, faults);
  if (!family) return say(family.error(), options.json, streams);
  const auto path = std::filesystem::path(options.family).parent_path() / family->table_file;
  const auto csv = record::bytes_of_file(path);
  if (!csv) return say(csv.error(), options.json, streams);
  std::vector<Fault> table_faults;
  const auto table = checklist::read_size_table(*csv, family->table_file, table_faults);
  const auto fields = new_row(table, options);
  if (!fields) return say(fields.error(), options.json, streams);
  const auto changed = with_row(*csv, table, *fields, options.after);
  if (!changed) return say(changed.error(), options.json, streams);
  faults.clear();
  const auto result = record::load_family_file(options.family, faults, &*changed);
  if (!result) return say(result.error(), options.json, streams);
  for (const auto& fault : faults) streams.err << text(fault) << "\n";
  const auto column = [&](const char* name) {
    const auto found = std::find(table.columns.begin(), table.columns.end(), name);
    return found == table.columns.end() ? std::string()
                                        : (*fields)[static_cast<std::size_t>(found - table.columns.begin())];
  };
  const auto added = std::find_if(result->sizes.begin(), result->sizes.end(), [&](const auto& one) {
    return one.edition.size == column("size") && one.edition.print_revision == column("print_revision");
  });
  if (!checklist::sound(faults) || added == result->sizes.end())
    return say({"not_sound", "with this row the family has faults; nothing was written", options.family,
                "mend the cells named above"},
               options.json, streams, status::no);
  if (!options.dry_run)
    if (auto done = replace_file(path, *changed); !done)
      return say(done.error(), options.json, streams, status::not_done);
  if (options.json)
    streams.out << to_json_text(added->edition) << "\n";
  else
    streams.out << added->edition.size << ": " << added->edition.features.size() << " features\n";
  streams.err << (options.dry_run ? "dry run: nothing was written\n"
                                  : "added to " + path.string() + "; publish it to use it\n");
  return status::good;
}

}  // namespace tallystick::cli
