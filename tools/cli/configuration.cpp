#include <algorithm>
#include <ostream>

#include "daemon/measure/json_mirror.hpp"
#include "daemon/record/configuration_files.hpp"
#include "tools/cli/configuration_commands.hpp"

namespace tallystick::cli {
namespace {

using checklist::Edition;
using checklist::Fault;
using checklist::Severity;

void print_faults(const std::vector<Fault>& faults, std::ostream& out) {
  for (const auto& fault : faults) out << text(fault) << "\n";
}

std::string counted(std::size_t count, const std::string& word) {
  return std::to_string(count) + " " + word + (count == 1 ? "" : "s");
}

/// The editions that a source holds: of a configuration, of one family alone, or one that was published.
Expected<std::vector<Edition>> editions_in(const std::string& source, Streams streams) {
  std::vector<Edition> out;
  if (source.ends_with(".json")) {
    const auto bytes = record::bytes_of_file(source);
    if (!bytes) return tl::unexpected(bytes.error());
    auto edition = checklist::edition_from(*bytes);
    if (!edition) return tl::unexpected(edition.error());
    out.push_back(std::move(*edition));
    return out;
  }
  std::vector<Fault> faults;
  if (source.ends_with(".family.toml")) {
    const auto family = record::load_family_file(source, faults);
    if (!family) return tl::unexpected(family.error());
    for (const auto& size : family->sizes) out.push_back(size.edition);
  } else {
    const auto loaded = record::load_configuration(source);
    if (!loaded) return tl::unexpected(loaded.error());
    out = loaded->editions();
    faults = loaded->faults;
  }
  print_faults(faults, streams.err);
  return out;
}

void print_edition(const Edition& edition, std::ostream& out) {
  out << edition.size << ", print revision " << edition.print_revision << ", part number "
      << edition.part_number << "\n";
  for (const auto& feature : edition.features) {
    out << "  " << feature.balloon << "  " << feature.name;
    if (!feature.unit.empty()) {
      out << ": ";
      if (!feature.nominal.empty()) out << feature.nominal << ", ";
      if (feature.lower.empty())
        out << "at most " << feature.upper;
      else if (feature.upper.empty())
        out << "at least " << feature.lower;
      else
        out << feature.lower << " to " << feature.upper;
      out << " " << feature.unit << " (" << feature.gauge_kind;
      if (!feature.places.empty()) out << ", " << counted(feature.places.size(), "place");
      out << ")";
    } else {
      out << " (" << feature.kind << ")";
    }
    if (!feature.exception.empty()) out << "  exception: " << feature.exception;
    out << "\n";
  }
}

const Edition* same_size(const std::vector<Edition>& editions, const Edition& wanted) {
  const auto found = std::find_if(editions.begin(), editions.end(), [&](const Edition& one) {
    return one.family == wanted.family && one.size == wanted.size &&
           one.print_revision == wanted.print_revision;
  });
  return found == editions.end() ? nullptr : &*found;
}

boost::json::object named(const Edition& edition) {
  return {{"family", edition.family}, {"size", edition.size}, {"print_revision", edition.print_revision}};
}

/// Tells what differs; true where anything does. `before` or `after` may be missing.
bool tell_difference(const Edition* before, const Edition* after, bool json, std::ostream& out) {
  const auto& either = before != nullptr ? *before : *after;
  std::vector<checklist::Difference> differences;
  if (before == nullptr)
    differences.push_back({"", "size", "", either.size});
  else if (after == nullptr)
    differences.push_back({"", "size", either.size, ""});
  else
    differences = compare(*before, *after);
  if (json) {
    auto line = named(either);
    line["differences"] = mirror::write(differences);
    out << boost::json::serialize(line) << "\n";
  } else if (!differences.empty()) {
    out << either.size << ", print revision " << either.print_revision << "\n";
    for (const auto& one : differences)
      out << "  " << (one.feature.empty() ? "" : one.feature + ", ") << one.member << ": "
          << (one.before.empty() ? "-" : one.before) << " -> " << (one.after.empty() ? "-" : one.after)
          << "\n";
  }
  return !differences.empty();
}

}  // namespace

int check(const CheckOptions& options, Streams streams) {
  const auto loaded = record::load_configuration(options.config);
  if (!loaded) return say(loaded.error(), options.json, streams, status::not_understood);
  const auto faults = std::count_if(loaded->faults.begin(), loaded->faults.end(),
                                    [](const Fault& fault) { return fault.severity == Severity::fault; });
  const auto warnings = loaded->faults.size() - static_cast<std::size_t>(faults);
  const auto editions = loaded->editions();
  if (options.json) {
    boost::json::array sizes;
    for (const auto& edition : editions) sizes.push_back(named(edition));
    streams.out << boost::json::serialize(boost::json::object{{"file", loaded->file.string()},
                                                              {"sound", faults == 0},
                                                              {"faults", mirror::write(loaded->faults)},
                                                              {"sizes", std::move(sizes)},
                                                              {"gauges", loaded->shop.gauges.size()},
                                                              {"ports", loaded->shop.ports.size()}})
                << "\n";
  } else {
    print_faults(loaded->faults, streams.out);
    streams.out << loaded->file.string() << ": " << counted(static_cast<std::size_t>(faults), "fault") << ", "
                << counted(warnings, "warning") << "; sound are "
                << counted(loaded->shop.ports.size(), "port") << ", "
                << counted(loaded->shop.gauges.size(), "gauge") << ", " << counted(editions.size(), "size")
                << "\n";
  }
  return faults == 0 ? status::good : status::no;
}

int registered(const RegisterOptions& options, Streams streams) {
  const auto loaded = record::load_configuration(options.config);
  if (!loaded) return say(loaded.error(), options.json, streams, status::not_understood);
  print_faults(loaded->faults, streams.err);
  const auto& shop = loaded->shop;
  if (options.json) {
    streams.out << boost::json::serialize(boost::json::object{{"benches", mirror::write(shop.benches)},
                                                              {"ports", mirror::write(shop.ports)},
                                                              {"gauges", mirror::write(shop.gauges)},
                                                              {"masters", mirror::write(shop.masters)},
                                                              {"tools", mirror::write(shop.tools)}})
                << "\n";
    return status::good;
  }
  for (const auto& bench : shop.benches) {
    streams.out << bench.id << " (" << bench.name << ")\n";
    for (const auto& gauge : shop.gauges) {
      if (gauge.bench != bench.id) continue;
      streams.out << "  " << gauge.id << ": " << gauge.kind << ", " << gauge.range_lower << " to "
                  << gauge.range_upper << " " << gauge.unit << " by " << gauge.resolution << ", port "
                  << gauge.port << (gauge.channel.empty() ? "" : " channel " + gauge.channel) << ", "
                  << gauge.speaks;
      if (!gauge.setting.master.empty())
        streams.out << ", set on " << gauge.setting.master << " (" << gauge.setting.size << ")";
      if (!gauge.may_be_used) streams.out << "; may not be used: " << gauge.why_not;
      streams.out << "\n";
    }
  }
  for (const auto& port : shop.ports)
    streams.out << "port " << port.id << ": " << port.key() << ", dialect " << port.dialect << "\n";
  return status::good;
}

int checklist_show(const ShowOptions& options, Streams streams) {
  const auto editions = editions_in(options.source, streams);
  if (!editions) return say(editions.error(), options.json, streams);
  bool any = false;
  std::vector<std::string> sizes;
  for (const auto& edition : *editions) {
    sizes.push_back(edition.size);
    if (!options.size.empty() && edition.size != options.size) continue;
    any = true;
    if (options.json)
      streams.out << to_json_text(edition) << "\n";
    else
      print_edition(edition, streams.out);
  }
  if (any) return status::good;
  return say({"unknown_size",
              "there is no sound size" + (options.size.empty() ? std::string() : " \"" + options.size + "\""),
              options.source, checklist::did_you_mean(options.size, sizes)},
             options.json, streams, status::no);
}

int checklist_compare(const CompareOptions& options, Streams streams) {
  const auto before = editions_in(options.before, streams);
  if (!before) return say(before.error(), options.json, streams);
  const auto after = editions_in(options.after, streams);
  if (!after) return say(after.error(), options.json, streams);
  bool differs = false;
  for (const auto& edition : *before)
    differs = tell_difference(&edition, same_size(*after, edition), options.json, streams.out) || differs;
  for (const auto& edition : *after)
    if (same_size(*before, edition) == nullptr)
      differs = tell_difference(nullptr, &edition, options.json, streams.out) || differs;
  if (!differs && !options.json) streams.out << "nothing differs\n";
  return differs ? status::no : status::good;
}

}  // namespace tallystick::cli
