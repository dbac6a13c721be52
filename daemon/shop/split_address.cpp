// "HOST:PORT" taken apart.
#include <algorithm>
#include <boost/url/parse.hpp>

#include "daemon/shop/shop_config.hpp"

namespace tallystick::shop {
namespace {

constexpr const char* shape = "write it as \"192.0.2.7:4001\", \"[2001:db8::7]:4001\" or \"name:4001\"";

bool is_name(const std::string& host) {
  return std::all_of(host.begin(), host.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '.' || c == '_';
  });
}

}  // namespace

Done split_address(const std::string& address, TcpCard& out) {
  const auto parsed = boost::urls::parse_authority(address);
  if (parsed.has_error() || parsed->has_userinfo() || parsed->host().empty())
    return fail("not_an_address", "\"" + address + "\" is no address of a host and a port", {}, shape);
  if (!parsed->has_port() || parsed->port().empty())
    return fail("not_an_address", "\"" + address + "\" names no port", {},
                "add the device server's TCP port for raw bytes, as in \"192.0.2.7:4001\"");
  // Digits that do not fit a port's 16 bits read as 0.
  const int port = parsed->port_number();
  if (port == 0)
    return fail("not_an_address", "\"" + std::string(parsed->port()) + "\" is no TCP port", {},
                "a port is a number from 1 to 65535");
  const bool numbers = parsed->host_type() == boost::urls::host_type::ipv4 ||
                       parsed->host_type() == boost::urls::host_type::ipv6;
  const std::string host = numbers ? parsed->host_address() : parsed->host();
  const bool digits_only = host.find_first_not_of("0123456789.") == std::string::npos;
  if (!numbers && (!is_name(host) || digits_only))
    return fail("not_an_address", "\"" + host + "\" is neither an IP address nor a host's name", {}, shape);
  out.host = host;
  out.port = port;
  return {};
}

}  // namespace tallystick::shop
