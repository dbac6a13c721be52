"""The tray: a page on loopback with a button for each gauge, to stand beside the bench page."""
import http.server
import json
import threading
import urllib.parse
from pathlib import Path

from . import choices
from .client import ask

PAGE = Path(__file__).with_name("tray.html")
LONGEST_BODY = 4096


class _Handler(http.server.BaseHTTPRequestHandler):
    server_version = "simulated-gauges"
    sys_version = ""
    timeout = 10

    def log_message(self, *arguments):
        pass

    def _ours(self):
        """A page elsewhere must not press gauges: only requests that name this server by its own address pass."""
        host = self.headers.get("Host", "")
        names = {f"{name}:{self.server.server_port}" for name in ("127.0.0.1", "localhost")}
        origin = self.headers.get("Origin")
        if host in names and (origin is None or origin in {f"http://{name}" for name in names}):
            return True
        self._answer(403, {"ok": False, "code": "foreign", "what": "the request does not name this server",
                           "hint": f"open http://127.0.0.1:{self.server.server_port}/"})
        return False

    def _answer(self, status, body, kind="application/json"):
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; "
                         "script-src 'unsafe-inline'; connect-src 'self'; frame-ancestors 'none'")
        self.end_headers()
        self.wfile.write(data)

    def do_GET(self):
        if not self._ours():
            return
        path = urllib.parse.urlsplit(self.path).path
        if path == "/":
            self._answer(200, PAGE.read_bytes(), "text/html; charset=utf-8")
        elif path == "/state":
            self._answer(200, self.server.state())
        else:
            self._answer(404, {"ok": False, "code": "not_found", "what": f"there is no {path}", "hint": "open /"})

    def do_POST(self):
        if not self._ours():
            return
        size = self.headers.get("Content-Length", "")
        if not size.isdecimal() or int(size) > LONGEST_BODY or self.headers.get("Content-Type") != "application/json":
            self._answer(400, {"ok": False, "code": "bad_request", "what": "not a short JSON body", "hint": "send JSON"})
            return
        try:
            body = json.loads(self.rfile.read(int(size)))
            words = {key: str(body[key]) for key in ("gauge", "do")}
            answer = self.server.act(words["gauge"], words["do"], str(body.get("value", "")))
        except (ValueError, KeyError, TypeError):
            answer = {"ok": False, "code": "bad_request", "what": "gauge and do are wanted", "hint": "{\"gauge\":..., \"do\":...}"}
        except OSError as error:
            answer = {"ok": False, "code": "not_running", "what": str(error), "hint": "start the simulated gauges"}
        self._answer(200 if answer["ok"] else 400, answer)


class Tray(http.server.ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, port, socket_path):
        super().__init__(("127.0.0.1", port), _Handler)
        self.socket_path = socket_path
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def _ask(self, *words):
        if any(not word or any(c.isspace() for c in word) for word in words):
            return {"ok": False, "code": "wrong_words", "what": "a word is empty or has a blank", "hint": "give plain words"}
        return ask(self.socket_path, *words)

    def state(self):
        listed = self._ask("list")
        benches = dict.fromkeys(one["bench"] for one in listed["gauges"])
        # Of each bench the gauges of its step; where it has none, those whose setting is due.
        wanted = {gauge for bench in benches for gauge in self._asked_for(listed["daemon"], bench)}
        return {**listed, "choices": choices.CHOICES, "wanted": sorted(wanted)}

    @staticmethod
    def _asked_for(daemon, bench):
        wanted = choices.wanted_by(daemon, bench, 0.5)
        now = [one for one in wanted if one["now"]]
        return [gauge for one in now or wanted for gauge in one["gauges"]]

    def act(self, gauge, do, value):
        if do in choices.CHOICES:
            return choices.press(self._ask, gauge, do)
        if do == "press":
            return self._ask("press", gauge, *([value] if value else []))
        if do in ("unplug", "plug"):
            return self._ask(do, gauge)
        return {"ok": False, "code": "unknown_choice", "what": f"there is nothing called \"{do}\"",
                "hint": "do: press, unplug, plug, " + ", ".join(choices.CHOICES)}
