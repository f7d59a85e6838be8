"""``keysoak demo`` and ``keysoak serve``: what runs until it is stopped."""

import subprocess
import sys
from pathlib import Path
from typing import Annotated

import typer

from daemon.cli.options import RACK, RackOption
from daemon.config import RackFile
from daemon.logging import set_up
from daemon.priority import USUAL_NICE, after, go_first


def add_to(app: typer.Typer) -> None:
    """Add these commands to the app."""
    app.command()(demo)
    app.command()(serve)


def demo(
    port: Annotated[int, typer.Option(help="Where the page is; when it is taken another is chosen and said.")] = 8050,
    data: Annotated[
        Path | None, typer.Option(help="Where the demo keeps its readings; a folder of its own if left out.")
    ] = None,
) -> None:
    """Run a whole rack of eight simulated radios, over real serial ports and a real broker, with a live page."""
    from daemon.demo.run import run  # noqa: PLC0415  only the demo pays for what it needs

    raise typer.Exit(run(port, data))


def serve(
    rack: RackOption = RACK,
    page: Annotated[
        int | None, typer.Option(help="Also run the page for a browser, at this port of this machine.")
    ] = None,
) -> None:
    """Run the daemon: read the nodes, lend the keys, keep the readings, answer the API; until it is stopped."""
    from daemon.serve import serve as run_daemon  # noqa: PLC0415  the other commands start faster without

    config = RackFile.from_file(rack)
    go_first()
    log = set_up(config.rack.data)
    pages: list[subprocess.Popen[bytes]] = []

    def ready(api_port: int) -> None:
        url = f"http://{config.api.host}:{api_port}"
        typer.echo(f"keysoak: rack {config.rack.name} answers at {url}")
        sys.stdout.flush()
        if page is not None:
            words = [sys.executable, "-m", "dashboard", "--api", url, "--port", str(page)]
            pages.append(subprocess.Popen(after(words, USUAL_NICE)))

    try:
        run_daemon(config, ready)
    finally:
        for process in pages:
            process.terminate()
            process.wait(timeout=10)
        log.stop()
