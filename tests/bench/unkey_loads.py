"""Loads of the unkey bench, each a process of its own, on the loopback only and bounded.

python -m tests.bench.unkey_loads curves http://127.0.0.1:8051 JOB
python -m tests.bench.unkey_loads flood http://127.0.0.1:8051
python -m tests.bench.unkey_loads hang      prints its port: an HTTP server that takes a request and never answers
"""

# ruff: noqa: T201  what is printed is the answer
import http.client
import socket
import sys
import threading
import time
from urllib.parse import urlsplit

FLOOD_CONNECTIONS = 8
#: of all connections together
FLOOD_REQUESTS_S = 400.0
#: a person who looks at a job, zooms, and looks at the next: harder than any page does it
CURVES_EACH_S = 0.25


def ask(url: str, paths: list[str], each_s: float) -> None:
    """Ask for these paths in turn over one connection, at most one each ``each_s``; connects anew when refused."""
    at = urlsplit(url).netloc
    turn = 0
    wire = http.client.HTTPConnection(at, timeout=30)
    while True:
        began_s = time.monotonic()
        try:
            wire.request("GET", paths[turn % len(paths)])
            wire.getresponse().read()
        except (OSError, http.client.HTTPException):
            wire.close()
        turn += 1
        time.sleep(max(0.0, each_s - (time.monotonic() - began_s)))


def curves(url: str, job: str) -> None:
    """24 hours whole, then parts of them."""
    path = f"/v1/jobs/{job}/curves?points=2000"
    ask(url, [path, f"{path}&from_s=0&to_s=43200", f"{path}&from_s=40000&to_s=44000", "/v1/jobs"], CURVES_EACH_S)


def flood(url: str) -> None:
    """All that a page asks for, far too often."""
    paths = ["/v1/rack", "/v1/health", "/v1/jobs", "/v1/bays/bay-1"]
    for i in range(FLOOD_CONNECTIONS):
        turned = paths[i % 4 :] + paths[: i % 4]
        each_s = FLOOD_CONNECTIONS / FLOOD_REQUESTS_S
        threading.Thread(target=ask, args=(url, turned, each_s), daemon=True).start()
    threading.Event().wait()


def hang() -> None:
    """Takes whatever comes and answers nothing."""
    listener = socket.create_server(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    kept = []
    while True:
        wire, _ = listener.accept()
        kept.append(wire)
        del kept[:-64]


def main() -> None:
    """Run until killed."""
    what, *words = sys.argv[1:]
    if what == "curves":
        curves(*words)
    elif what == "flood":
        flood(*words)
    else:
        hang()


if __name__ == "__main__":
    main()
