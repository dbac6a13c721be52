// Takes secrets and names of people out of a text before it leaves the house.
#pragma once

#include <string>
#include <vector>

namespace tallystick::cli {

class Redaction {
 public:
  /// Each name is replaced by "[person 1]", "[person 2]", ... the same everywhere, so that what happened can
  /// still be followed. Case does not matter; names of one letter are left.
  explicit Redaction(std::vector<std::string> names);

  /// Also without: what stands behind a key that sounds like a secret (password, token, secret, key of a
  /// certificate, credential, pin, cookie, authorization), user and password in an address, private keys in
  /// PEM, home folders' names.
  std::string clean(const std::string& text) const;

 private:
  std::vector<std::string> names_;  ///< longest first, so that no name is cut by a shorter one
};

}  // namespace tallystick::cli
