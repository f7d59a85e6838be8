"""``python -m dashboard --api http://127.0.0.1:8051 --host 127.0.0.1 --port 8050``"""

import argparse
from collections.abc import Sequence

import uvicorn

from dashboard.app import build


def main(argv: Sequence[str] | None = None) -> None:
    """Serve the dashboard until interrupted."""
    parser = argparse.ArgumentParser(prog="python -m dashboard", description="The rack in a browser.")
    parser.add_argument("--api", default="http://127.0.0.1:8051", help="address of the daemon's API")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
    parser.add_argument("--port", type=int, default=8050)
    parser.add_argument(
        "--name", action="append", default=[], help="another name under which browsers reach this machine"
    )
    words = parser.parse_args(argv)
    app = build(words.api, [words.host, *words.name])
    uvicorn.run(app, host=words.host, port=words.port, log_level="warning", access_log=False)


if __name__ == "__main__":
    main()
