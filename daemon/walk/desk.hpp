// The desk: owner of all states in memory, the one place through which everything goes that is decided.
//
// An input waits, undecided, while an owner that it concerns has a proposal in flight; then it is decided on the state
// that it finds, proposed to the record, and only when the record says that it is durable does the state change and
// does anybody hear of it. One thread; no I/O, no clock, no randomness: all of that is handed in.
#pragma once

#include <algorithm>
#include <deque>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <unordered_set>
#include <vector>

#include "daemon/walk/decide.hpp"
#include "daemon/walk/desk_door.hpp"
#include "daemon/walk/event.hpp"
#include "daemon/walk/view.hpp"

namespace tallystick::walk {

/// The seams. `submit` must call back on the desk's thread, in order of submission, once for each proposal, and never
/// from within `submit`.
struct DeskSeams {
  std::function<Stamp()> now;
  std::function<void(Proposal, std::function<void(Expected<Key>)>)> submit;
  std::function<Done(const std::string& gauge)> ask_gauge;   ///< may be empty
  std::function<void(const std::string&)> log;               ///< may be empty
  /// Subjects of `list` that others keep ("ports", "ports/recent", "ports/unknown"); null: unknown. May be empty.
  std::function<boost::json::value(const std::string&)> list_elsewhere;
};

/// A pedal, a button or a code card of a bench.
struct Press {
  std::string bench;
  std::string action;       ///< "good" | "not_good" | "again"
  std::string reason;       ///< where the action needs one; empty: the only one of the list, else the page is to ask
  std::string port, code;   ///< what was pressed, for the record: port of the configuration, key's name or text
  Stamp at;                 ///< when
};

/// How much may wait before a bench refuses more.
inline constexpr std::size_t waiting_limit = 256;

class Desk : public DeskDoor {
 public:
  explicit Desk(DeskSeams seams);

  // ---- setting up, before `start`
  void load(States states, Catalogue catalogue);
  void load_answers(const boost::json::value& answers);
  /// A result of an open lot from before this start, oldest first: the faint ticks of the ruler.
  void load_earlier(const Fact& fact);
  /// Copies one event of the journal into the states. Error "cannot_read_outcome".
  Done replay(const Event& event);
  void configure(ShopWords words, std::vector<shop::GaugeCard> cards, std::vector<Candidate> candidates);
  /// Proposes "started", and what the configuration changed in the register.
  void start();

  // ---- from the edges
  /// False where nobody asked for it: then it is kept nowhere.
  bool offer(Reading reading);
  void refused(const std::string& gauge, const Refusal& refusal, const Frame& frame);
  /// A frame was refused that may have been this gauge's: of a port that several share.
  void may_have_lost(const std::string& gauge, const Refusal& refusal, const Frame& frame);
  /// The action that a page's key would be, for what the bench's displays showed at that time. Errors: those of the
  /// command "act"; "to_choose" (there is a list to choose from: the page opens it). The view's "press" tells them.
  void press(const Press& press, Answered answered = {});
  void line_changed(const std::string& gauge, const GaugeLine& line);
  void not_answered(const std::string& gauge, const std::string& why);
  void keeping(bool kept, const std::string& why, const std::string& hint, const std::string& code = {});
  void clock(bool trusted, const std::string& why, const std::string& code = {});
  /// An event of the daemon: "clock_stepped", "journal_branched", "stopped", ...
  void house_event(const std::string& kind, boost::json::object body);
  /// To be called about once a second.
  void tick();

  // ---- for checkpoints
  std::uint64_t events_since_checkpoint() const { return since_checkpoint_; }
  bool quiet() const {
    return in_flight_.empty() &&
           std::all_of(waiting_.begin(), waiting_.end(), [](const auto& line) { return line.second.empty(); });
  }
  /// The committed state as JSON, and the event that it includes last. Empty key: nothing was committed yet.
  std::pair<Key, std::string> checkpoint();
  Done load_checkpoint(const std::string& state);

  const States& states() const { return states_; }
  const Catalogue& catalogue() const { return catalogue_; }

  // ---- DeskDoor
  void command(Command command, Answered answered) override;
  std::vector<std::string> benches() const override;
  boost::json::value view(const std::string& bench) const override;
  const ViewText* view_text(const std::string& bench) const override;
  boost::json::value list(const std::string& subject) const override;
  void display_came(const std::string& bench, const std::string& display) override;
  void display_went(const std::string& bench, const std::string& display) override;
  void told(const std::string& bench, const std::string& display, std::uint64_t sequence, const Stamp& when) override;
  void on_view_changed(std::function<void(const std::string& bench)> changed) override;

 private:
  struct Waiting {
    std::uint64_t arrival = 0;
    Input input;
    std::string raw;
    Answered answered;                  ///< empty for what nobody waits for
  };
  struct Shown {                        ///< something asked for on a bench, and who was told when
    std::uint64_t first_sequence = 0;
    std::map<std::string, Stamp> told;  ///< by display
  };
  struct BenchWindow {
    ViewText view;                      ///< without members: not worked out yet
    ViewText spare;                     ///< the next one is written over it
    std::string ask;                    ///< the view's
    std::map<std::string, Shown> asks;
    std::string tone, tone_key;
    std::optional<ToldKept> to_keep;
    Stamp told_since;
    std::set<std::string> displays;
    boost::json::value press;           ///< the last one that did nothing, and why
    std::int64_t heard_shown_ns = 0;    ///< steady time at which a reading without a walk was last shown
  };
  struct LiveCapture {                  ///< in memory only: a restart drops it
    Capture capture;
    std::string bench, port;
    bool unit_in_frame = true;
    bool ending = false;                ///< its end waits to be decided
    std::int64_t shown_ns = 0;          ///< steady time at which its picture was last shown
  };
  struct RefusalCount {
    std::map<std::string, std::int64_t> by_reason;
    std::string first_bytes;
    Stamp first;
  };

  void take(Input input, std::string raw, Answered answered);
  /// Tries the first of every line that may have become free.
  void pump();
  void pump_once();
  std::vector<std::string> first_owners(const Input& input) const;
  bool start_one(Waiting& waiting, std::set<std::string>& busy);
  void propose(Waiting waiting, Decision decision);
  void committed(const Waiting& waiting, const Decision& decision, const Key& key);
  void answer_later(const std::string& idempotency_key, Expected<boost::json::object> answer);
  std::map<std::string, Stamp> told_asks(const std::string& bench) const;
  Context context_for(const std::string& bench, std::map<std::string, Stamp>& told) const;
  Done could_be_seen(const BenchWindow& window, const Press& press) const;
  Expected<Input> input_of(const BenchWindow& window, const Press& press) const;
  void show_press(const Press& press, const std::string& code);
  void refresh_view(const std::string& bench);
  void follow_asks(const std::string& bench, const Context& context, const Stamp& now);
  /// A reading that nobody asked for: shown, but not oftener than anybody can read.
  void show_heard(const std::string& bench, const Stamp& now);
  void index_gauges();
  void remember_facts(const Outcome& outcome);
  void register_gauges();
  void flush_refusals(const Stamp& now, bool all);
  // ---- captures (desk_captures.cpp)
  /// Holds the captures that run at a bench against its committed state: begins what has begun, forgets what has gone.
  void follow_captures(const std::string& bench);
  void take_sample(const Reading& reading);
  void show_capture(const std::string& gauge, const Stamp& now, bool at_once);
  /// Where a capture has ended by itself, its end comes to be decided, once.
  void end_capture(const std::string& gauge, const Stamp& now);
  void break_capture(const std::string& gauge, const std::function<void(Capture&)>& how, const Stamp& now);
  void pass_captures(const Stamp& now);
  /// *Good* at a capture that runs: the end of it, with its samples.
  std::optional<Input> ends_capture(const Input& input) const;
  std::string bench_of(const Input& input) const;

  DeskSeams seams_;
  States states_;
  GaugesAt gauges_at_;                                    ///< of states_
  Catalogue catalogue_;
  ShopWords words_;
  std::vector<shop::GaugeCard> cards_;
  std::vector<Candidate> candidates_;
  Surrounding surrounding_;
  Stamp started_;
  bool running_ = false;

  /// By the first owner that each concerns: of those only the first can start. A line that is empty is gone.
  std::map<std::string, std::deque<Waiting>> waiting_;
  std::uint64_t arrivals_ = 0;
  bool pumping_ = false;
  std::set<std::string> to_try_;                          ///< lines whose first may have become free
  std::set<std::string> kept_back_;                       ///< lines whose first waits for another owner than the line's own
  std::unordered_set<std::string> in_flight_;             ///< owners
  std::map<std::string, boost::json::object> answers_;    ///< by idempotency key
  std::deque<std::string> answer_order_;
  std::map<std::string, std::vector<Answered>> awaiting_answer_;
  std::map<std::string, RefusalCount> refusals_;
  std::map<std::string, LiveCapture> captures_;           ///< by gauge
  std::map<std::string, BenchWindow> windows_;
  std::function<void(const std::string&)> changed_;
  Key last_key_;
  std::uint64_t since_checkpoint_ = 0;
  std::uint64_t overflowed_ = 0;
  std::uint64_t presses_ = 0;           ///< that did nothing
};

}  // namespace tallystick::walk
