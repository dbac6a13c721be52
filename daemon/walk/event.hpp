// One entry of the journal, as the walk proposes it and as the record keeps it.
#pragma once

#include <string>
#include <vector>

#include "daemon/measure/stamp.hpp"
#include "daemon/walk/fact.hpp"

namespace tallystick {

/// Bytes that an event names and the record keeps once, by SHA-256 (an edition, a drawing, a capture).
struct Attachment {
  std::string sha256;   ///< 64 hex digits
  std::string media_type;
  std::string bytes;
};

/// What `decide` hands to the record: all of it becomes one row and is committed in one transaction with its facts.
struct Proposal {
  std::string kind;           ///< "reading", "walk_begun", ... (FORMAT.md lists them)
  int version = 1;            ///< of this kind's input and outcome
  int rules = 1;              ///< version of the rules that decided
  Stamp stamp;
  std::string bench, walk, lot, gauge, person;  ///< who it is about; empty where none. `walk`, `lot` are key texts
  std::string input;          ///< JSON text, stored byte for byte
  std::string raw;            ///< bytes from the port, may be empty
  std::string outcome;        ///< JSON text, stored byte for byte; its member "facts" holds every fact in full
  std::vector<Fact> facts;    ///< the same facts, for the query tables
  std::vector<Attachment> attachments;
};

/// An event as the journal holds it.
struct Event {
  Key key;
  std::int64_t branch = 0;
  Proposal content;           ///< `facts` and `attachments` are left empty when read back
  std::string previous, hash; ///< 32 raw bytes each
};

}  // namespace tallystick
