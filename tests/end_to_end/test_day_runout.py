"""The day at the bench, 08:40: runout of the flange face, the indicator streams, one turn, pedal. The samples are kept, and
what they come to is worked out here again, from the export and from the bytes of the record, with none of the program's
code. Beside it: a stream that breaks, a restart in the middle. All data invented."""
import hashlib
import json
import struct
import time
import unittest
from decimal import Decimal
from fractions import Fraction

from bench import Refused, wait_until
from inspector import Inspector, good_size

WAIT = 15


def at_the_runout(hands, serial=1):
    """A walk in the stage "final", every step before the runout of the flange face done."""
    hands.set_gauges()
    hands.shop.begin("FB-25", 1, 3, "final", person="R. Field", lot_name="L-25")
    hands.tools()
    while hands.view()["step"]["feature"] != "runout-face":
        hands.step()
        hands.shop.wait_for(lambda view: view["state"] in ("step", "setting"), WAIT)
    return hands.view()


def begin(hands):
    hands.shop.act("good")
    return hands.shop.wait_for(lambda view: view["state"] == "capture" and view["trace"], WAIT, "the capture")


def turned(hands, span, frames=120):
    sent = hands.turn(Decimal(span), frames)
    wait_until(lambda: not hands.turning, 20, "the end of the turn")
    time.sleep(0.15)  # the last frame is on its way
    return sent


def unsigned(data):
    """LEB128, as the DWARF standard (version 5, section 7.6) has it, undone."""
    value = shift = 0
    for place, byte in enumerate(data):
        value |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            return value, data[place + 1:]
    raise ValueError("cut short")


def signed(data):
    value, rest = unsigned(data)
    return (value >> 1) ^ -(value & 1), rest


def read_capture(data):
    """Head and [(microseconds, millimetres)] from the bytes that daemon/record/FORMAT.md describes."""
    assert data[:8] == b"tlycap\0\1", data[:8]
    (size,) = struct.unpack(">I", data[8:12])
    head, rest = json.loads(data[12:12 + size]), data[12 + size:]
    samples, at, steps = [], 0, 0
    for _ in range(head["kept"]):
        later, rest = signed(rest)
        more, rest = signed(rest)
        at, steps = at + later, steps + more
        samples.append((at, Fraction(steps * head.get("step", 1), 10**9)))  # picometres
    assert rest == b""
    return head, samples


class Runout(unittest.TestCase):
    def test_0840_one_turn_under_the_indicator_pedal_span_and_the_samples_are_kept(self):
        with Inspector("FB-25") as hands:
            view = at_the_runout(hands)
            self.assertEqual(view["step"]["capture"]["kind"], "span")
            self.assertEqual(view["step"]["upper"], "0.020")
            before = len(hands.shop.entries())
            touches = hands.shop.touches
            begin(hands)
            sent = hands.turn(Decimal("0.0110"), 120)
            # The page has the trace while the part turns: more of it, and never more than it can show.
            lengths, values = set(), []

            def trace(view):
                if view["trace"]:
                    lengths.add(len(view["trace"]["points"]))
                    values.append(Decimal(view["trace"]["value"] or 0))
                return not hands.turning

            hands.shop.wait_for(trace, 20, "the turn")
            time.sleep(0.15)
            self.assertGreater(len(lengths), 5)
            self.assertLessEqual(max(lengths), 160)
            self.assertEqual(values, sorted(values))  # a span only grows
            hands.shop.act("good")
            view = hands.shop.wait_for(lambda view: view["last"]["what"] == "counted" and view["last"]["feature"] == "runout-face", WAIT)
            last = view["last"]
            self.assertEqual((last["verdict"], Decimal(last["value"]), last["upper"]), ("accept", Decimal("0.011"), "0.020"))
            self.assertEqual(hands.shop.touches, touches + 2)
            self.assertIsNone(view["trace"])

            # Two events of all those samples: its begin and its end.
            entries = [(kind, outcome) for _, _, kind, _, outcome in hands.shop.entries()[before:] if kind in ("act", "capture_ended")]
            self.assertEqual([kind for kind, _ in entries], ["act", "capture_ended"])
            named = entries[1][1]["capture"]
            head = named["head"]
            self.assertEqual((head["kind"], head["value"], head["unit"], head["ended_by"]), ("span", "0.011", "mm", "action"))

            # The export names the reading; under it, and under their SHA-256, the samples are given back.
            [row] = [row for row in hands.shop.export_csv(feature="runout-face")[0] if row["kind"] == "result"]
            self.assertEqual((Decimal(row["value"]), row["verdict"]), (Decimal("0.011"), "accept"))
            self.assertEqual(row["readings"], "this")
            key = f"{row['journal']}-{row['seq']}"
            status, headers, data = hands.shop.request("GET", f"/api/v1/captures/{key}")
            self.assertEqual((status, headers["Content-Type"].split(";")[0]), (200, "text/csv"))
            self.assertEqual(data, hands.shop.request("GET", f"/api/v1/captures/{named['sha256']}?form=csv")[2])
            lines = [line.split(",") for line in data.decode().split("\r\n")[1:-1]]
            self.assertEqual(len(lines), head["kept"])
            worth = [Decimal(value) for _, _, value, _ in lines]
            self.assertEqual(max(worth) - min(worth), Decimal("0.0110"))
            times = [int(us) for _, us, _, _ in lines]
            self.assertEqual(times, sorted(times))
            # Every frame of the turn, as the indicator sent it, one after the other.
            at = next(n for n in range(len(worth)) if worth[n:n + len(sent)] == sent)
            self.assertTrue(all(value == 0 for value in worth[:at] + worth[at + len(sent):]))

            # The same from the record's own bytes, and the chain holds them.
            [(blob,)] = hands.shop.journal("SELECT bytes FROM blob WHERE sha256 = ?", named["sha256"])
            self.assertEqual(hashlib.sha256(blob).hexdigest(), named["sha256"])
            self.assertEqual(blob, hands.shop.request("GET", f"/api/v1/captures/{named['sha256']}?form=bytes")[2])
            own_head, samples = read_capture(blob)
            self.assertEqual(own_head, head)
            self.assertEqual([value for _, value in samples], [Fraction(value) for value in worth])
            self.assertEqual(max(v for _, v in samples) - min(v for _, v in samples), Fraction(11, 1000))
            told = hands.shop.get(f"/api/v1/captures/{key}?form=json")
            self.assertEqual((told["sha256"], Decimal(told["worked_out_again"])), (named["sha256"], Decimal("0.011")))

            # The part's history shows it.
            history = hands.shop.get(f"/api/v1/records/parts/{row['part']}")
            [line] = [line for line in history["lines"] if line["capture"]]
            self.assertEqual((line["feature"], line["capture"]["sha256"], line["capture"]["head"]["samples"]),
                             ("runout-face", named["sha256"], head["samples"]))
            for path, status in ((f"/api/v1/captures/{'0' * 64}", 404), ("/api/v1/captures/nothing", 404),
                                 (f"/api/v1/captures/{row['lot']}", 404), (f"/api/v1/captures/{named['sha256']}?form=xls", 400),
                                 (f"/api/v1/captures/{named['sha256']}?as=csv", 400)):
                self.assertEqual(hands.shop.request("GET", path)[0], status, path)

            # The outside's runout begins by itself at the first movement and ends by itself: one touch.
            hands.shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "runout-outside", WAIT)
            begin(hands)
            self.assertTrue(hands.view()["trace"]["waits"])
            self.assertIsNone(hands.view()["actions"]["good"])
            turned(hands, "0.0081", 60)
            view = hands.shop.wait_for(lambda view: view["last"]["what"] == "counted" and view["last"]["feature"] == "runout-outside", WAIT)
            self.assertEqual((view["last"]["verdict"], Decimal(view["last"]["value"])), ("accept", Decimal("0.0081")))
            self.assertEqual(hands.shop.touches, touches + 3)

            hands.shop.stop()
            hands.shop.tool("verify", "--data", hands.shop.folder / "data")
            wrong = hands.shop.folder / "wrong"
            wrong.mkdir()
            hands.shop.tool("backup", "--data", hands.shop.folder / "data", wrong / "copy.sqlite3")
            import sqlite3
            copy = sqlite3.connect(wrong / "copy.sqlite3")
            with copy:
                for (trigger,) in copy.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                    copy.execute(f'DROP TRIGGER "{trigger}"')
                changed = bytearray(blob)
                changed[-1] ^= 1
                copy.execute("UPDATE blob SET bytes = ? WHERE sha256 = ?", (bytes(changed), named["sha256"]))
            copy.close()
            out, _ = hands.shop.tool("verify", wrong / "copy.sqlite3", status=1)
            self.assertIn(named["sha256"], out)

    def test_a_stream_that_breaks_is_not_judged_and_begun_anew(self):
        with Inspector("FB-25") as hands:
            at_the_runout(hands)
            begin(hands)
            hands.turn(Decimal("0.0110"), 120)
            wait_until(lambda: len(hands.turning) < 60, 20, "half a turn")
            hands.shop.press("lever-indicator", b"0.01?2\n")
            view = hands.shop.wait_for(lambda view: view["state"] == "hold", WAIT, "the hold")
            self.assertEqual((view["hold"]["kind"], view["hold"]["why"]), ("capture", "frame_refused"))
            self.assertEqual(view["actions"]["good"]["does"], "begin_capture")
            time.sleep(0.5)  # what follows a broken frame within two give_up_ms is taken for its rest
            begin(hands)
            hands.turn(Decimal("0.0110"), 120)
            wait_until(lambda: len(hands.turning) < 60, 20, "half a turn")
            hands.shop.terminals.all["lever-indicator"].unplug()
            view = hands.shop.wait_for(lambda view: view["state"] == "hold", WAIT, "the hold")
            self.assertIn(view["hold"]["why"], ("port_lost", "gap"))
            hands.shop.terminals.all["lever-indicator"].plug()
            hands.shop.wait_for(lambda view: all(gauge["port_state"] == "open" for gauge in view["gauges"]), WAIT)
            time.sleep(0.3)
            self.assertEqual([row for row in hands.shop.export_csv(feature="runout-face")[0]], [])
            begin(hands)
            with self.assertRaises(Refused) as refused:
                hands.shop.act("good")
            self.assertEqual((refused.exception.status, refused.exception.code), (409, "too_short"))
            turned(hands, "0.0200")
            hands.shop.act("good")
            view = hands.shop.wait_for(lambda view: view["last"]["feature"] == "runout-face", WAIT)
            self.assertEqual((view["last"]["verdict"], Decimal(view["last"]["value"])), ("accept", Decimal("0.02")))  # at the limit
            broken = [outcome["capture"]["head"]["broken"] for _, _, kind, _, outcome in hands.shop.entries("capture_ended")
                      if outcome["what"] == "held"]
            self.assertEqual(len(broken), 2)

    def test_a_restart_in_the_middle_drops_it_plainly(self):
        with Inspector("FB-25") as hands:
            at_the_runout(hands)
            begin(hands)
            hands.turn(Decimal("0.0110"), 400)
            wait_until(lambda: len(hands.turning) < 340, 20, "a part of a turn")
            hands.shop.restart()
            view = hands.shop.wait_for(lambda view: view["state"] == "resumed", WAIT)
            self.assertIsNone(view["capture"])
            self.assertIsNone(view["trace"])
            hands.shop.act("good")
            hands.shop.wait_for(lambda view: view["state"] == "step" and view["step"]["feature"] == "runout-face", WAIT)
            self.assertEqual(hands.shop.entries("capture_ended"), [])
            hands.turning = []
            hands.step()
            self.assertEqual(Decimal(hands.view()["last"]["value"]), good_size("runout-face", "FB-25"))


if __name__ == "__main__":
    unittest.main()
