"""Holds what the daemon answers against daemon/serve/openapi.json. bench.py hands every exchange of the tests to `check`.

Validator: Debian's python3-jsonschema (JSON Schema 2020-12). Where it is absent, nothing is checked, and
test_contract.py says so as a skipped case.
"""
import json
import re
from pathlib import Path

try:
    import jsonschema
except ImportError:
    jsonschema = None

ROOT = Path(__file__).resolve().parents[2]
DOCUMENT = json.loads((ROOT / "daemon" / "serve" / "openapi.json").read_text(encoding="utf-8"))
FORMS = sorted(((re.compile("^" + re.sub(r"\{[^}]+\}", "[^/]+", path) + "$"), path) for path in DOCUMENT["paths"]),
               key=lambda pair: pair[1].count("{"))
seen = {}  # (method, path of the document) -> statuses


class Broken(AssertionError):
    """The daemon and its description do not agree."""


def resolved(schema):
    while "$ref" in schema:
        found = DOCUMENT
        for name in schema["$ref"].removeprefix("#/").split("/"):
            found = found[name]
        schema = found
    return schema


def validator(schema):
    """With the document's components beside it, so that its references resolve."""
    return jsonschema.Draft202012Validator({**schema, "components": DOCUMENT["components"]})


def operation_of(method, target):
    """(path of the document, operation) or None."""
    path = target.split("?", 1)[0]
    for form, written in FORMS:
        if form.match(path):
            operation = DOCUMENT["paths"][written].get("get" if method == "HEAD" else method.lower())
            return (written, operation) if operation else None
    return None


def complain(place, value, schema):
    for error in validator(schema).iter_errors(value):
        where = "/".join(map(str, error.absolute_path))
        raise Broken(f"{place}: at \"{where}\": {error.message[:300]}")


def check(method, target, sent, status, headers, body):
    """Raises Broken where status, media type or body is not as described. `sent`: the request's JSON or None."""
    if jsonschema is None:
        return
    found = operation_of(method, target)
    if found is None:  # a path that does not exist, or a method that is not for it, must be refused as such
        if status < 400:
            raise Broken(f"{method} {target} is served, but not described")
        return
    path, operation = found
    place = f"{method} {path} {status}"
    seen.setdefault((method, path), set()).add(status)
    answer = operation["responses"].get(str(status))
    if answer is None:
        raise Broken(f"{place}: this status is not described")
    if status < 300 and sent is not None and not isinstance(sent, bytes):
        complain(place + " (request)", sent, operation["requestBody"]["content"]["application/json"]["schema"])
    content = resolved(answer).get("content", {})
    if method == "HEAD" or not content:
        return
    media = headers.get("Content-Type", "").split(";")[0]
    if media not in content and "*/*" not in content:
        raise Broken(f"{place}: came as {media!r}, described are {sorted(content)}")
    for name in resolved(answer).get("headers", {}):
        if name not in headers and not (name == "Link" and path.endswith("/results")):
            raise Broken(f"{place}: the header {name} is missing")
    if media.endswith("json"):
        value = json.loads(body)
        complain(place, value, content[media]["schema"])
        if media == "application/problem+json" and value["status"] != status:
            raise Broken(f"{place}: the member status says {value['status']}")
