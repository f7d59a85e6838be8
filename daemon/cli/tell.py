"""``keysoak tell``: who is told of alerts, and whether a message reaches them."""

from concurrent.futures import ThreadPoolExecutor
from typing import Annotated

import typer

from daemon.api.client import Client
from daemon.api.tell_models import TellTried, TellView
from daemon.cli.options import API, RACK, ApiOption, RackOption
from daemon.config import RackFile
from daemon.errors import NoSuch


def add_to(app: typer.Typer) -> None:
    """Add this command to the app."""
    app.command()(tell)


def tell(
    target: Annotated[str | None, typer.Argument(help="One [[tell]] of rack.toml; all if left out.")] = None,
    test: Annotated[bool, typer.Option("--test", help="Send a test message; the daemon need not run.")] = False,
    rack: RackOption = RACK,
    api: ApiOption = API,
) -> None:
    """Say who is told of alerts and whether they can be; with --test send a message, and say what happened.

    Exit status: 0 when all of them can be told, 1 when one can't.
    """
    if test:
        raise typer.Exit(_test(RackFile.from_file(rack), target))
    with Client(api) as client:
        said = client.tell()
    known = {each.target: each for each in said.targets}
    if target is not None and target not in known:
        raise NoSuch("target", target, list(known))
    shown = list(known.values()) if target is None else [known[target]]
    for each in shown:
        typer.echo(_state(each))
    if not known:
        typer.echo("nobody is told of alerts: rack.toml has no [[tell]]")
    raise typer.Exit(1 if any(each.state == "failing" for each in shown) else 0)


def _test(config: RackFile, target: str | None) -> int:
    from daemon.delivery.courier import Courier  # noqa: PLC0415  the other commands start faster without
    from daemon.delivery.delivery import try_once, url_of  # noqa: PLC0415

    tables = {table.name: table for table in config.tell}
    if target is not None and target not in tables:
        raise NoSuch("target", target, list(tables))
    if not tables:
        typer.echo("nobody is told of alerts: rack.toml has no [[tell]]")
        return 0
    chosen = {name: url_of(table) for name, table in tables.items() if target in {None, name}}
    courier = Courier()

    def one(name: str) -> TellTried:
        return try_once(courier.send, chosen[name], config.rack.name, name, config.rack.page_url)

    with ThreadPoolExecutor(len(chosen)) as pool:
        tried = list(pool.map(one, chosen))
    for each in tried:
        typer.echo(f"{each.target}: {'took the message' if each.ok else each.why} ({each.took_s:g} s)")
    return 0 if all(each.ok for each in tried) else 1


def _state(view: TellView) -> str:
    if view.error:
        return view.error
    waits = f", {view.waiting} waiting" if view.waiting else ""
    return f"{view.target} ({view.kind}): {view.state}, {view.sent} told{waits}"
