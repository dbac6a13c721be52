#!/usr/bin/python3
"""Proves a journal from daemon/record/FORMAT.md alone: standard library only, nothing of the project's.

    verifier.py journal.sqlite3      exit status 0: all holds; 1: something does not; 2: no journal of format 1

Recomputes the hash chain, compares the query table with the outcomes and the blobs with their names. Opens read-only.
"""
import hashlib
import json
import sqlite3
import sys
from urllib.parse import quote

BRANCH = "number journal parent parent_seq parent_hash who why machine breaks utc_us".split()
ENTRY = ("branch seq kind version rules utc_us steady_ns boot clock bench walk person lot gauge input raw outcome "
         "attachments previous").split()
FACT = ("kind overrules family size print_revision part_number lot lot_name part serial slot stage feature place balloon "
        "feature_name feature_class step_kind verdict value unit nominal lower upper side by least greatest reduction "
        "limits_of judging decision uncertainty conformance working measured_again typed confirmed reason note gauge gauge_kind master readings edition edition_number bench walk "
        "person person_how machine program place_on_machine heat measured_utc clock").split()
WHOLE = {"measured_again", "typed", "confirmed", "edition_number"}


class Text(bytes):
    """Text keeps its bytes, so that they are hashed as they are."""


def digest(values):
    total = hashlib.sha256()
    for value in values:
        if value is None:
            kind, content = 0, b""
        elif isinstance(value, int):
            kind, content = 1, value.to_bytes(8, "big", signed=True)
        else:
            kind, content = (2, value) if isinstance(value, Text) else (3, value)
        total.update(bytes([kind]) + len(content).to_bytes(8, "big") + content)
    return total.digest()


def verify(path):
    """A list of what does not hold, and the count of events and facts."""
    database = sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)
    database.text_factory = Text
    if (database.execute("PRAGMA application_id").fetchone()[0] != 0x54414C59
            or database.execute("PRAGMA user_version").fetchone()[0] != 1):
        raise ValueError("no journal of format 1")
    wrong, events, facts = [], 0, 0
    blobs = set()
    for name, content in database.execute("SELECT sha256, bytes FROM blob"):
        blobs.add(name.decode())
        if hashlib.sha256(content).hexdigest() != name.decode():
            wrong.append(f"blob {name.decode()}: other bytes")
    branches = database.execute(f"SELECT {', '.join(BRANCH)} FROM branch ORDER BY number").fetchall()
    for row in branches:
        number, journal, parent, parent_seq, parent_hash = row[:5]
        if parent is not None and parent_seq > 0:
            there = database.execute("SELECT hash FROM entry WHERE branch = ? AND seq = ?", (parent, parent_seq)).fetchone()
            if there is None or there[0] != parent_hash:
                wrong.append(f"branch {number}: does not begin after the event that it names")
        before, expected = digest(row), 1
        rows = database.execute(f"SELECT {', '.join(ENTRY)}, hash FROM entry WHERE branch = ? ORDER BY seq", (number,))
        for *columns, kept in rows:
            entry = dict(zip(ENTRY, columns))
            key = f"{journal.decode()}-{entry['seq']}"
            if entry["seq"] != expected:
                wrong.append(f"{key}: events before it are missing")
            if entry["previous"] != before:
                wrong.append(f"{key}: does not follow from the one before")
            if digest(columns) != kept:
                wrong.append(f"{key}: other bytes than were hashed")
            before, expected, events = kept, entry["seq"] + 1, events + 1
            for name in (entry["attachments"] or b"").decode().split():
                if name not in blobs:
                    wrong.append(f"{key}: {name} is missing")
            named = [[fact.get(name, 0 if name in WHOLE else "") for name in FACT]
                     for fact in json.loads(entry["outcome"]).get("facts", [])]
            quoted = ", ".join(f'"{name}"' for name in FACT)
            table = [[value.decode() if isinstance(value, Text) else value for value in row] for row in database.execute(
                f"SELECT n, {quoted} FROM fact WHERE branch = ? AND seq = ? ORDER BY n", (number, entry["seq"]))]
            if table != [[n, *fact] for n, fact in enumerate(named, 1)]:
                wrong.append(f"{key}: the query table has other facts")
            facts += len(named)
        if expected == 1:
            wrong.append(f"branch {number}: has no events")
    if facts != database.execute("SELECT count(*) FROM fact").fetchone()[0]:
        wrong.append("the query table has facts without an event")
    return wrong, events, facts


def main():
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    try:
        wrong, events, facts = verify(sys.argv[1])
    except (ValueError, sqlite3.Error) as error:
        print(f"{sys.argv[1]}: {error}", file=sys.stderr)
        return 2
    print("\n".join(wrong) if wrong else f"{events} events and {facts} facts hold")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
