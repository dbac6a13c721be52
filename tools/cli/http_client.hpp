// Speaks to a running daemon: HTTP/1.1 over loopback or its Unix socket. Blocking, one request a connection.
#pragma once

#include <boost/json.hpp>
#include <chrono>
#include <cstdint>
#include <string>

#include "daemon/measure/error.hpp"

namespace tallystick::cli {

struct DaemonAddress {
  std::string host = "127.0.0.1";
  std::uint16_t port = 7411;
  std::string socket;  ///< path of the Unix socket; empty: host and port
};
/// "http://127.0.0.1:7411", "127.0.0.1:7411", or a path of a Unix socket. Error "wrong_address".
Expected<DaemonAddress> address_from(const std::string& text);
std::string text(const DaemonAddress& address);

class HttpClient {
 public:
  explicit HttpClient(DaemonAddress address, std::chrono::seconds patience = std::chrono::seconds(20))
      : address_(std::move(address)), patience_(patience) {}

  /// The answer's JSON. Errors: "no_daemon" (nobody listens there), "no_answer" (not in time, or cut short),
  /// "not_json"; a problem (RFC 9457) comes back as its code, detail, where and remedy.
  Expected<boost::json::value> get(const std::string& target);
  /// An answer that is no JSON, as it came. Errors: as of `get`.
  Expected<std::string> text(const std::string& target);
  Expected<boost::json::value> post(const std::string& target, const boost::json::value& body);

 private:
  struct Answer {
    unsigned status = 0;
    std::string body;
  };
  Expected<Answer> exchange(const std::string& method, const std::string& target, const std::string& body);
  static Expected<boost::json::value> understood(const Answer& answer);

  DaemonAddress address_;
  std::chrono::seconds patience_;
};

}  // namespace tallystick::cli
