"""The other side of the control socket: one command, one answer."""
import json
import socket


def ask(socket_path, *words, patience_s=5.0):
    """Sends one command; returns the answer, a dictionary with "ok". Raises OSError where nobody answers."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(patience_s)
        line.connect(socket_path)
        line.sendall(" ".join(words).encode() + b"\n")
        received = b""
        while not received.endswith(b"\n"):
            data = line.recv(65536)
            if not data:
                raise ConnectionError("the simulated gauges closed the connection")
            received += data
    return json.loads(received)
