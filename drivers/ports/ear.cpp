#include "drivers/ports/ear.hpp"

#include <unistd.h>

#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cerrno>
#include <cstring>

#include "drivers/ports/clock.hpp"
#include "drivers/ports/line.hpp"

namespace tallystick::ports {

using boost::asio::posix::stream_descriptor;

struct Ear::Inside : std::enable_shared_from_this<Ear::Inside> {
  Inside(boost::asio::io_context& loop, Clock& the_clock, Hooks the_hooks, std::string the_path,
         std::unique_ptr<Line> the_line)
      : clock(the_clock),
        hooks(std::move(the_hooks)),
        path(std::move(the_path)),
        line(std::move(the_line)),
        stream(loop, line->descriptor()) {}

  void wait() {
    stream.async_wait(stream_descriptor::wait_read,
                      [self = shared_from_this()](const boost::system::error_code& error) {
                        if (self->line) self->woken(error);
                      });
  }

  void woken(const boost::system::error_code& error) {
    if (error) return lose(error.message());
    const Stamp now = clock.now();
    std::array<char, 4096> buffer;
    const ssize_t got = ::read(line->descriptor(), buffer.data(), buffer.size());
    const int code = errno;
    if (got == 0) return lose("end of file");
    if (got < 0 && code != EAGAIN && code != EINTR) return lose(std::strerror(code));
    if (got > 0) hooks.heard({buffer.data(), static_cast<std::size_t>(got)}, now);
    if (line) wait();  // the hook may have closed it
  }

  void lose(const std::string& how) {
    close();
    hooks.lost({"port_lost", "it was unplugged, or its other end closed (" + how + ")", path,
                "plug it in again, and begin anew"});
  }

  /// The line owns the descriptor: taken out of the loop first, closed after.
  void close() {
    if (!line) return;
    stream.release();
    line.reset();
  }

  Clock& clock;
  Hooks hooks;
  std::string path;
  std::unique_ptr<Line> line;
  stream_descriptor stream;
};

Ear::Ear(boost::asio::io_context& loop, Clock& clock, Hooks hooks)
    : loop_(loop), clock_(clock), hooks_(std::move(hooks)) {}

Ear::~Ear() { close(); }

Done Ear::open(const std::string& path, const PortSettings& settings) {
  close();
  auto line = open_line(path, settings);
  if (!line) return tl::unexpected(line.error());
  inside_ = std::make_shared<Inside>(loop_, clock_, hooks_, path, std::move(*line));
  inside_->wait();
  return {};
}

void Ear::close() {
  if (inside_) inside_->close();
  inside_.reset();
}

bool Ear::is_open() const { return inside_ && inside_->line != nullptr; }

}  // namespace tallystick::ports
