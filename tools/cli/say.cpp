#include <boost/json.hpp>
#include <ostream>

#include "tools/cli/commands.hpp"

namespace tallystick::cli {

int say(const Error& error, bool json, Streams streams, int status) {
  streams.err << "tallystick: " << text(error) << '\n';
  if (json) {
    const boost::json::value value{
        {"error",
         {{"code", error.code}, {"what", error.what}, {"where", error.where}, {"hint", error.hint}}}};
    streams.out << boost::json::serialize(value) << '\n';
  }
  return status;
}

}  // namespace tallystick::cli
