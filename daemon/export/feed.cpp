#include "daemon/export/feed.hpp"

#include "daemon/export/columns.hpp"

namespace tallystick::exporting {
namespace {

// A read of so many rows is short; a piece of so many bytes is worth a write and still small in memory.
constexpr std::size_t rows_most = 4000;
constexpr std::size_t piece_bytes = 192 * 1024;
constexpr std::size_t row_room = 16 * 1024;

}  // namespace

std::string_view media_type(Form form) {
  // RFC 4180, section 3; JSON Lines has no registered type, "application/jsonl" is what its page proposes.
  return form == Form::csv ? "text/csv; charset=utf-8; header=present" : "application/jsonl; charset=utf-8";
}

FactFeed::FactFeed(std::unique_ptr<record::Reader> reader, Selection selection, Form form)
    : reader_(std::move(reader)),
      selection_(std::move(selection)),
      form_(form),
      position_(selection_.after) {}

Expected<std::unique_ptr<FactFeed>> FactFeed::open(std::unique_ptr<record::Reader> reader,
                                                   const Selection& selection, Form form) {
  std::unique_ptr<FactFeed> feed(new FactFeed(std::move(reader), selection, form));
  if (auto fixed = feed->fix_end(); !fixed) return tl::unexpected(fixed.error());
  return feed;
}

Done FactFeed::fix_end() {
  auto end = selection_.until.empty() ? reader_->end() : record::cursor_from(selection_.until);
  if (!end) return tl::unexpected(end.error());
  until_ = std::move(*end);
  auto branches = reader_->branches();
  if (!branches) return tl::unexpected(branches.error());
  for (const auto& branch : *branches) branches_[branch.journal] = branch.number;
  // One row is asked for so that a cursor that is no longer good is refused now, not in the middle of an
  // answer.
  for (const auto* cursor : {&position_, &until_}) {
    if (cursor->at_beginning()) continue;
    auto tried = reader_->sweep_facts(*cursor, {}, 1, record::View::all, [](const auto&) { return false; });
    if (!tried) return tl::unexpected(tried.error());
  }
  if (selection_.until.empty() || position_.at_beginning()) return {};
  const auto order = [this](const record::Cursor& at) {
    return std::tuple(at.at_beginning() ? std::int64_t{0} : branches_[at.journal], at.seq, at.n);
  };
  if (order(until_) < order(position_))
    return fail("wrong_parameter", "it lies before \"after\"", "until",
                "ask for what lies between, in that order");
  return {};
}

bool FactFeed::within(const record::RawFact& fact) const {
  if (selection_.view == record::View::as_of_now && selection_.until.empty()) return true;
  if (until_.at_beginning()) return false;
  if (fact.journal() == until_.journal)
    return fact.seq() < until_.seq || (fact.seq() == until_.seq && fact.n() <= until_.n);
  // A branch that was begun since lies behind the end.
  const auto branch = branches_.find(fact.journal());
  return branch != branches_.end() && branch->second < branches_.find(until_.journal)->second;
}

Expected<std::optional<std::string>> FactFeed::next() {
  if (broken_) return tl::unexpected(*broken_);
  std::string piece;
  if (!begun_) {
    begun_ = true;
    if (form_ == Form::csv) piece = csv_header();
  }
  // A filter may leave nothing of a page: a piece is never empty, so that no end is seen where there is none.
  while (!ended_ && piece.size() < piece_bytes) {
    if (piece.capacity() < piece_bytes + row_room) piece.reserve(piece_bytes + row_room);
    auto swept =
        reader_->sweep_facts(position_, selection_.filter, rows_most, selection_.view, [&](const auto& fact) {
          if (!within(fact)) {
            ended_ = true;
            return false;
          }
          form_ == Form::csv ? append_csv(piece, fact) : append_json_line(piece, fact);
          ++rows_;
          return piece.size() < piece_bytes;
        });
    if (!swept) {
      broken_ = swept.error();
      return tl::unexpected(*broken_);
    }
    position_ = std::move(swept->next);
    if (!swept->more) ended_ = true;
  }
  if (piece.empty()) return std::nullopt;
  return piece;
}

}  // namespace tallystick::exporting
