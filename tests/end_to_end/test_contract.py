"""The description of the interface: sound by somebody else's validator, one with the table of routes and with what comes.

OpenAPI 3.1 (schema in tests/reference/schemas), JSON Schema 2020-12 (python3-jsonschema), RFC 9457, OpenMetrics 1.0
(openmetrics.io, "text format"; and the parser of python3-prometheus-client).
"""
import json
import os
import re
import tempfile
import unittest
import warnings
from pathlib import Path

import contract
from bench import Shop
from small_shop import demo_shop, measure, small_shop
from starting import Daemon

SCHEMAS = contract.ROOT / "tests" / "reference" / "schemas"
METHODS = ("get", "post", "put", "delete", "patch")
ONLY_IN_LOBBY = {("GET", "/api/v1/setup"), ("POST", "/api/v1/setup")}
if contract.jsonschema is not None:
    warnings.filterwarnings("ignore", category=DeprecationWarning, module="jsonschema")


def described():
    return {(method.upper(), path) for path, item in contract.DOCUMENT["paths"].items() for method in METHODS if method in item}


def schemas(node):
    """Every schema object of the document that has examples."""
    if isinstance(node, dict):
        if isinstance(node.get("examples"), list):
            yield node
        for child in node.values():
            yield from schemas(child)
    elif isinstance(node, list):
        for child in node:
            yield from schemas(child)


@unittest.skipIf(contract.jsonschema is None, "python3-jsonschema is absent")
class Document(unittest.TestCase):
    def test_it_is_openapi_3_1(self):
        schema = json.loads((SCHEMAS / "openapi-3.1.schema.json").read_text(encoding="utf-8"))
        check = contract.jsonschema.Draft202012Validator(schema)
        self.assertEqual([error.message for error in check.iter_errors(contract.DOCUMENT)], [])
        broken = json.loads(json.dumps(contract.DOCUMENT))
        broken["paths"]["/api/v1/health"]["get"]["responses"]["200"].pop("description")
        self.assertTrue(list(check.iter_errors(broken)), "the validator must be able to refuse")

    def test_its_schemas_are_json_schema_2020_12(self):
        for name, schema in contract.DOCUMENT["components"]["schemas"].items():
            with self.subTest(name):
                contract.jsonschema.Draft202012Validator.check_schema(schema)

    def test_every_example_is_valid(self):
        count = 0
        for schema in schemas(contract.DOCUMENT):
            for example in schema["examples"]:
                contract.complain("example", example, schema)
                count += 1
        self.assertGreaterEqual(count, 15)

    def test_operation_ids_are_unique_and_every_reference_leads_somewhere(self):
        text = json.dumps(contract.DOCUMENT)
        ids = re.findall(r'"operationId": "(\w+)"', text)
        self.assertEqual(len(ids), len(set(ids)))
        for reference in set(re.findall(r'"\$ref": "([^"]+)"', text)):
            contract.resolved({"$ref": reference})


@unittest.skipIf(contract.jsonschema is None, "python3-jsonschema is absent")
class Served(unittest.TestCase):
    def setUp(self):
        warnings.simplefilter("ignore", DeprecationWarning)

    def routes(self, shop):
        return {(row["method"], row["path"]) for row in shop.get("/api/v1/routes")}

    def test_routes_and_description_are_the_same_both_ways(self):
        with Shop(small_shop()) as shop:
            served = self.routes(shop)
            status, headers, body = shop.request("GET", "/api/v1/openapi.json")
            self.assertEqual(json.loads(body), contract.DOCUMENT)
            self.assertTrue(headers["ETag"])
        with tempfile.TemporaryDirectory() as folder, Daemon(Path(folder) / "tallystick.toml") as lobby:
            _, rows = lobby.request("GET", "/api/v1/routes")
            in_lobby = {(row["method"], row["path"]) for row in rows}
        self.assertLessEqual(ONLY_IN_LOBBY, in_lobby)
        both = served | in_lobby
        self.assertEqual(both - described(), set(), "served, but not described in daemon/serve/openapi.json")
        self.assertEqual(described() - both, set(), "described, but not served")

    def test_every_operation_is_seen_and_keeps_to_its_description(self):
        contract.seen.clear()
        with Shop(demo_shop(settings=False)) as shop:
            shop.command("state_person", person="R. Field", touch=False)
            shop.publish()
            shop.open_lot("FB-25", 5)
            row = shop.get("/api/v1/checklists")[0]
            edition = shop.get("/api/v1/checklists/" + row["sha"])
            for path in ("/api/v1/editions/" + row["sha"], "/api/v1/drawings/" + edition["drawing"], "/api/v1/benches/bench-1",
                         "/api/v1/benches/bench-1/live", "/bench/bench-1", "/pages/look.css", "/problems/moved_on",
                         "/api/v1/ports/recent", "/api/v1/ports/unasked", "/api/v1/ports/unknown", "/api/v1/benches/none",
                         "/api/v1/results?limit=0", "/api/v1/ports/none", "/api/v1/captures/" + "0" * 64):
                shop.request("GET", path)
            gauge = shop.get("/api/v1/gauges")[0]["id"]
            shop.request("POST", f"/api/v1/gauges/{gauge}/try", {})
            shop.request("GET", f"/api/v1/gauges/{gauge}/try")
            shop.request("POST", f"/api/v1/gauges/{gauge}/try", {"stop": True})
            shop.request("POST", "/api/v1/reload", {})
            for method, path in sorted(described()):
                if method == "GET" and "{" not in path:
                    shop.request("GET", path)
            self.more(shop)
        unseen = described() - set(contract.seen) - ONLY_IN_LOBBY
        self.assertEqual(unseen, set(), f"{len(unseen)} operations were described and never seen")

    def more(self, shop):
        """What needs a body or an id of its own."""
        row = shop.get("/api/v1/checklists")[0]
        [now] = [each for each in shop.get("/api/v1/checklists/worked-out") if each["published"] == row["sha"]]
        shop.get(f"/api/v1/checklists/worked-out/{now['name']}")
        shop.get(f"/api/v1/checklists/compare?before={row['sha']}&after={row['sha']}")
        shop.request("POST", "/api/v1/checklists/dry-run", {"edition": row["sha"], "stage": "final", "bench": "bench-1", "values": []})
        shop.request("POST", "/api/v1/learning", {"do": "stop"})
        shop.request("POST", "/api/v1/learning/gauge", {"dialect": "push-line", "gauge": {"id": "new"}})
        shop.request("POST", "/api/v1/notices/none/clear", {"person": "R. Field"})
        shop.begin_walk(shop.get("/api/v1/lots")[0]["key"])
        walk = shop.get("/api/v1/records/walks")["walks"][0]["walk"]
        shop.get(f"/api/v1/records/walks/{walk}")
        shop.get(f"/api/v1/records/parts/{shop.view()['walk']['part']}")
        status, headers, table = shop.request("GET", "/api/v1/families/fb/sizes")
        self.assertEqual(status, 200)
        shop.request("PUT", "/api/v1/families/fb/sizes", table, {"Content-Type": "text/csv", "If-Match": headers["ETag"]})

    def test_a_whole_part_keeps_to_the_description(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 3)
            measure(shop, 14)
            shop.press("micrometer", b"nonsense\r")
            for path in ("walks", "lots", "gauges", "ports", "results?limit=5", "export.jsonl", "export.csv", "suspects"):
                status, _, body = shop.request("GET", "/api/v1/" + path)
                self.assertEqual(status, 200, path)
            rows = [json.loads(line) for line in shop.request("GET", "/api/v1/export.jsonl")[2].splitlines()]
            self.assertTrue(rows)
            for row in rows:
                contract.complain("export.jsonl", row, {"$ref": "#/components/schemas/Fact"})

    def test_pages_are_stable_while_rows_are_inserted(self):
        """RFC 8288: the next page is where Link says. No row twice, none lost, though parts are measured meanwhile."""
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 5)
            measure(shop, 10)
            keys, target, pages = [], "/api/v1/results?limit=4", 0
            while target:
                status, headers, body = shop.request("GET", target)
                self.assertEqual(status, 200)
                keys += [(row["journal"], row["seq"], row["n"]) for row in json.loads(body)["results"]]
                link = re.fullmatch(r'<([^>]+)>; rel="next"', headers.get("Link", ""))
                self.assertEqual(bool(link), json.loads(body)["more"])
                target = link[1] if link else None
                pages += 1
                if pages <= 3:
                    measure(shop, 3)
            rows = [row for row in shop.export_jsonl(kind="result")[0]]
            self.assertEqual(keys, [(row["journal"], row["seq"], row["n"]) for row in rows])
            self.assertGreaterEqual(len(keys), 19)
            self.assertGreaterEqual(pages, 5)

    def test_two_who_edit_at_once(self):
        """RFC 9110, 13.1.1 (412) and RFC 6585, 3 (428): the second of two edits is told, and nothing is lost."""
        path, csv = "/api/v1/families/fb/sizes", {"Content-Type": "text/csv"}
        with Shop(small_shop()) as shop:
            file = shop.folder / "fb.sizes.csv"
            before = file.read_bytes()
            status, headers, table = shop.request("GET", path)
            self.assertEqual((status, table), (200, before))
            first = headers["ETag"]
            self.assertEqual(shop.request("GET", path, headers={"If-None-Match": first})[0], 304)

            def put(body, tag=None):
                status, headers, answer = shop.request("PUT", path, body, {**csv, **({"If-Match": tag} if tag else {})})
                return status, headers, json.loads(answer)

            row = b"FB-28,A,FB-28-A,mm,34,36,28,48\n"
            self.assertEqual((put(table + row)[0], put(table + row)[2]["code"]), (428, "precondition_required"))
            self.assertEqual(file.read_bytes(), before)
            status, headers, answer = put(table + row, first)
            self.assertEqual((status, answer["sizes"]), (200, 3))
            self.assertEqual(file.read_bytes(), before + row)
            status, headers_then, answer = put(table + b"FB-29,A,FB-29-A,mm,35,37,29,49\n", first)
            self.assertEqual((status, answer["code"]), (412, "precondition_failed"))
            self.assertEqual(headers_then["ETag"], headers["ETag"])
            self.assertEqual(file.read_bytes(), before + row)
            status, _, answer = put(before + b"FB-28,A,FB-28-A,mm,34,36,twenty-eight,48\n", headers["ETag"])
            self.assertEqual((status, answer["code"]), (422, "not_sound"))
            self.assertTrue(any(fault["where"].startswith("fb.sizes.csv:4") for fault in answer["faults"]), answer)
            self.assertEqual(file.read_bytes(), before + row)
            self.assertEqual(shop.request("PUT", "/api/v1/families/none/sizes", table, {**csv, "If-Match": "*"})[0], 404)
            self.assertEqual(shop.request("PUT", path, {}, {"If-Match": "*"})[0], 415)
            # Nothing changed at a bench: a reload takes it up, publishing makes an edition of it.
            self.assertEqual(shop.request("POST", "/api/v1/reload", {})[0], 200)
            self.assertIn("FB-28", json.dumps(shop.publish()))

    def test_the_check_itself_can_fail(self):
        for status, body in ((200, b'{"status": "ok"}'), (200, b"[]"), (299, b"{}")):
            with self.assertRaises(contract.Broken):
                contract.check("GET", "/api/v1/health", None, status, {"Content-Type": "application/json"}, body)
        with self.assertRaises(contract.Broken):
            contract.check("GET", "/api/v1/none-such", None, 200, {"Content-Type": "application/json"}, b"{}")


class Metrics(unittest.TestCase):
    LINE = re.compile(r'^(# (TYPE|HELP|UNIT) [a-z_]+ .+|# EOF|[a-z_]+(\{[a-z_]+="([^"\\\n]|\\[\\"n])*"(,[a-z_]+="([^"\\\n]|\\[\\"n])*")*\})? -?[0-9.]+)$')

    def text(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 3)
            measure(shop, 3)
            status, headers, body = shop.request("GET", "/metrics")
            self.assertEqual(status, 200)
            self.assertEqual(headers["Content-Type"], "application/openmetrics-text; version=1.0.0; charset=utf-8")
            return body.decode("utf-8")

    def test_rules_of_the_text_format(self):
        """OpenMetrics 1.0: one metadata block a family, samples of a family together, counters end in _total, EOF last."""
        text = self.text()
        self.assertTrue(text.endswith("\n# EOF\n"))
        family, kind, closed, samples = None, None, set(), set()
        for line in text.splitlines()[:-1]:
            self.assertRegex(line, self.LINE)
            if line.startswith("# "):
                _, what, name, rest = line.split(" ", 3)
                if what == "TYPE":
                    closed.add(family)
                    family, kind = name, rest
                self.assertEqual(name, family)
                self.assertNotIn(name, closed)
                if what == "UNIT":
                    self.assertTrue(name.endswith("_" + rest), "a name ends in its unit")
                continue
            name = re.split(r"[{ ]", line)[0]
            self.assertEqual(name, family + {"counter": "_total", "info": "_info"}.get(kind, ""))
            self.assertNotIn(line.rsplit(" ", 1)[0], samples)
            samples.add(line.rsplit(" ", 1)[0])
        self.assertIn('tallystick_readings_total{gauge="height-gauge"} 2', text)
        for secret in ("R. Field", "J. Okoro", "L-1", "30.012", "/tmp"):
            self.assertNotIn(secret, text)

    def test_somebody_elses_parser_reads_it(self):
        try:
            from prometheus_client.openmetrics.parser import text_string_to_metric_families
        except ImportError:
            self.skipTest("python3-prometheus-client is absent")
        for text in (self.text(), (contract.ROOT / "tests/serve/golden.metrics").read_text(encoding="utf-8")):
            families = {family.name: family for family in text_string_to_metric_families(text)}
            self.assertGreater(len(families), 15)
            self.assertEqual(families["tallystick_port_state"].type, "stateset")
            self.assertTrue(any(sample.value > 0 for sample in families["tallystick_readings"].samples))


class Health(unittest.TestCase):
    def test_it_tells_no_secrets(self):
        with Shop(small_shop()) as shop:
            shop.begin("FB-25", 1, 3)
            text = shop.request("GET", "/api/v1/health")[2].decode("utf-8")
            for secret in ("R. Field", "J. Okoro", "L-1", str(shop.folder), "/dev"):
                self.assertNotIn(secret, text)
            self.assertEqual(json.loads(text)["status"], "ok")


if __name__ == "__main__":
    unittest.main()
