// The setup page's side of the first configuration: what is offered, and what came back.
#pragma once

#include <boost/json.hpp>

#include "daemon/first_setup.hpp"

namespace tallystick {

/// {"file", "data", "record_there", "writable", "ports": [FoundPort], "dialects": [{"name", "about",
/// "speaks"}]}. Blocking: lists files and opens no port.
boost::json::object setup_offer(const std::filesystem::path& file);

struct SetupWish {
  FirstSetup setup;
  bool write = false;  ///< false: only the lines are wanted
};
/// Reads the body of the setup's POST. Errors: "not_json", "wrong_shape".
Expected<SetupWish> setup_from(const std::string& body);

}  // namespace tallystick
