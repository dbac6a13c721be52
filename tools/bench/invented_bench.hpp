// A desk with one bench, one gauge, one feature and a lot without end, in memory: who presses is the caller,
// who keeps is nobody. All data invented.
#pragma once

#include <deque>
#include <memory>
#include <vector>

#include "daemon/walk/desk.hpp"

namespace tallystick::bench {

class InventedBench {
 public:
  /// `places`: so many readings make a part. `keep_proposals`: see `proposals`.
  explicit InventedBench(std::size_t places, bool keep_proposals = false);

  /// A reading that nobody has seen yet, later than all before.
  Reading reading();
  /// One press: offered, decided, "kept", told.
  void press();
  /// What was proposed so far; empty unless asked for.
  std::vector<Proposal> proposals;

  const walk::Desk& desk() const { return *desk_; }
  walk::Desk& desk() { return *desk_; }
  const walk::ShopWords& words() const { return words_; }
  const walk::WalkState& walk() const;
  Stamp now() const { return now_; }
  Stamp advance();

 private:
  void settle();
  void tell();
  boost::json::object command(const std::string& kind, boost::json::object body);

  bool keep_proposals_;
  Stamp now_;
  walk::ShopWords words_;
  std::unique_ptr<walk::Desk> desk_;
  std::deque<std::function<void(Expected<Key>)>> waiting_;
  std::uint64_t seq_ = 0, keys_ = 0;
  unsigned pressed_ = 0;
};

}  // namespace tallystick::bench
