"""``keysoak alerts`` and ``acknowledge``: the alert list at a terminal."""

import getpass
import time
from collections.abc import Sequence
from typing import Annotated

import typer

from daemon.api.alert_models import AlertView, NoteOrder
from daemon.api.client import Client
from daemon.cli.options import API, ApiOption


def add_to(app: typer.Typer) -> None:
    """Add these commands to the app."""
    app.command()(alerts)
    app.command()(acknowledge)


def alerts(
    closed: Annotated[int, typer.Option(min=0, help="Also so many that are normal again, newest first.")] = 0,
    api: ApiOption = API,
) -> None:
    """List the alerts, worst and newest first, each with what is folded under it; then how many there are a time."""
    with Client(api) as client:
        found = client.alerts(closed)
        rate = client.alert_rate()
    if not found:
        typer.echo("no alert is open")
    for line in lines(found, time.time_ns()):
        typer.echo(line)
    typer.echo(rate.text)


def acknowledge(
    alert: Annotated[int, typer.Argument(help="The alert's number in the list.")],
    note: Annotated[str, typer.Option(help="What there is to say of it.")] = "",
    person: Annotated[str, typer.Option(help="Who has seen it; if left out, who is logged in.")] = "",
    api: ApiOption = API,
) -> None:
    """Say that an alert has been seen, with all that is folded under it. It stays listed while its cause stands."""
    order = NoteOrder(person=person.strip() or getpass.getuser(), note=note)
    with Client(api) as client:
        typer.echo(client.acknowledge(alert, order).done)


def lines(found: Sequence[AlertView], now_ns: int, depth: int = 0) -> list[str]:
    """Alerts as lines of text, effects set in under their causes."""
    said: list[str] = []
    for alert in found:
        words = f"{alert.priority}, {alert.state}, {_age(now_ns - alert.raised_ns)} ago"
        said.append(f"{'    ' * depth}{alert.id}  {alert.bay or 'whole rack'}  {alert.rule}: {words}")
        said.append(f"{'    ' * (depth + 1)}{alert.text}")
        said += lines(alert.folded, now_ns, depth + 1)
    return said


def _age(passed_ns: int) -> str:
    passed_s = max(0, passed_ns // 10**9)
    if passed_s < 120:
        return f"{passed_s} s"
    return f"{passed_s // 60} min" if passed_s < 7200 else f"{passed_s // 3600} h"
