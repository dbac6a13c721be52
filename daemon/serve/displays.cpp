#include "daemon/serve/displays.hpp"

namespace tallystick::serve {

Displays::Displays(boost::asio::io_context& io, walk::DeskDoor& desk, std::chrono::milliseconds grace)
    : io_(io), desk_(desk), grace_(grace) {}

void Displays::up(const std::string& bench, const std::string& display) {
  const auto [at, is_new] = displays_.try_emplace({bench, display});
  ++at->second.connections;
  at->second.leaving.reset();
  if (is_new) desk_.display_came(bench, display);
}

void Displays::down(const std::string& bench, const std::string& display) {
  const auto at = displays_.find({bench, display});
  if (at == displays_.end() || --at->second.connections > 0) return;
  auto timer = std::make_unique<boost::asio::steady_timer>(io_, grace_);
  timer->async_wait([this, name = at->first](const boost::system::error_code& code) {
    if (code) return;  // it came back, or the server stops
    const auto gone = displays_.find(name);
    if (gone == displays_.end() || gone->second.connections > 0) return;
    displays_.erase(gone);
    desk_.display_went(name.first, name.second);
  });
  at->second.leaving = std::move(timer);
}

void Displays::stop() { displays_.clear(); }

}  // namespace tallystick::serve
