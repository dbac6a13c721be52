// The size table of a family, read and replaced over HTTP: what can be edited there. An edit names what it is
// based on (RFC 9110, If-Match), so that of two leads who edit at once the second is told, and nothing is
// lost.
#pragma once

#include <filesystem>
#include <vector>

#include "daemon/serve/http.hpp"

namespace tallystick::serve {

/// GET and PUT /api/v1/families/{family}/sizes, CSV with an ETag, on the pool. PUT takes the whole table,
/// checks the family with it, and replaces the file only where it is sound: whole or not at all. Nothing
/// changes at a bench by that: a reload takes it up, and publishing makes editions of it. `configuration`:
/// the file or folder that the daemon reads.
///
/// Errors: "unknown_family"; "precondition_required" (428, no If-Match), "precondition_failed" (412, the
/// table is another by now), "not_sound" (422, with "faults"), "cannot_read", "cannot_write".
std::vector<Route> size_table_routes(std::filesystem::path configuration);

}  // namespace tallystick::serve
