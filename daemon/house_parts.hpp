// What the composition root hands from room to room: configuration into the desk's words, the record into its state.
#pragma once

#include <string>
#include <vector>

#include "daemon/record/configuration_files.hpp"
#include "daemon/record/reader.hpp"
#include "daemon/walk/desk.hpp"
#include "drivers/ports/port_set.hpp"

namespace tallystick {

/// `today`: "2026-11-25", against which calibration dates are held.
walk::ShopWords words_of(const shop::ShopConfig& shop, const std::string& today);
std::vector<walk::Candidate> candidates_of(const record::Configuration& configuration);
std::vector<ports::PortConfig> ports_of(const record::Configuration& configuration);

/// Checkpoint, events since, editions, and the earlier values of lots that are being walked. Error: the first that the
/// reader, or an outcome that cannot be read, gives.
Done load_desk(walk::Desk& desk, record::Reader& reader);

/// The socket of the command line: in the folder that the service manager made for it, else in the data folder.
std::string socket_path(const std::filesystem::path& data);

/// The settings that every page gets.
boost::json::object page_settings(const shop::ShopConfig& shop);
/// As faults_json, behind a first line that says when a reload was refused.
boost::json::array refused_json(const std::vector<checklist::Fault>& faults, const std::string& when);
boost::json::array faults_json(const std::vector<checklist::Fault>& faults);

}  // namespace tallystick
