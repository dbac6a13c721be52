// The driver for instruments that write text files into a folder: folder_taker.hpp says what is taken and when,
// the dialect how its text becomes a value.
//
// - Files are looked at on a thread of its own, which nobody waits for: a share may hang. The loop only hears
//   what came of it.
// - inotify tells of changes. Where it is refused, or the folder lies on a network share (whose changes by
//   other machines it does not tell), it is looked at every `look_every` as well.
// - A reading's time is when its file was written last, but not before the look that did not show it yet: so a
//   measurement that was made before a step was told is seen to be too early for it.
#pragma once

#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>
#include <memory>
#include <string>

#include "drivers/decode/event.hpp"
#include "drivers/ports/folder_taker.hpp"
#include "drivers/ports/gauge.hpp"
#include "drivers/ports/port_life.hpp"
#include "drivers/ports/recent.hpp"

namespace tallystick::ports {

class FolderPort : public Driver, public std::enable_shared_from_this<FolderPort> {
 public:
  FolderPort(PortConfig config, const Surroundings& surroundings);
  ~FolderPort() override;

  void start() override;
  void stop() override;
  Done ask(std::string_view gauge) override;
  PortStatus status() const override;
  std::vector<GaugeRecent> recent() const override { return recent_.gauges(); }
  std::vector<UnknownChannel> unknown_channels() const override { return recent_.unknown_channels(); }
  void node_changed() override;

 private:
  struct Shared;
  struct Seen;

  void carry_out(Do todo);
  void look();
  void looked(Seen seen);
  void watch();
  void arm();
  void publish() { around_.sink.port_changed(status()); }
  Stamp time_of(const TakenPiece& piece, const Stamp& now) const;
  void take(const TakenPiece& piece, const Stamp& now);
  void take_event(DecodeEvent event, const TakenPiece& piece, const Stamp& now);
  void refuse(const TakenPiece& piece, Refusal refusal, Frame frame);

  PortConfig config_;
  Surroundings around_;
  PortLife life_;
  Recent recent_;
  std::shared_ptr<Shared> shared_;
  boost::asio::posix::stream_descriptor news_;
  boost::asio::steady_timer timer_;
  std::uint64_t taken_bytes_ = 0;
  std::optional<Stamp> looked_at_;  ///< the last look that went well began then
  Stamp look_began_;
  std::optional<std::int64_t> next_look_ns_;
  std::vector<std::string> warnings_;
  bool running_ = false, opening_ = false, looking_ = false, again_ = false;
};

}  // namespace tallystick::ports
