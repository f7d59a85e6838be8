"""``keysoak probe``, ``soak``, ``drop`` and ``release``: what a technician does at the bench."""

import getpass
from pathlib import Path
from typing import Annotated

import typer

from daemon.api.alert_models import ReasonOrder
from daemon.api.client import Client
from daemon.api.load_models import Typical
from daemon.api.models import SoakOrder
from daemon.cli.options import API, RACK, ApiOption, RackOption
from daemon.config import RackFile
from daemon.files import read_text
from daemon.plan import Plan


def add_to(app: typer.Typer) -> None:
    """Add these commands to the app."""
    app.command()(probe)
    app.command()(soak)
    app.command()(drop)
    app.command()(release)


def probe(
    bays: Annotated[list[str] | None, typer.Argument(help="Which bays; all of the rack if left out.")] = None,
    rack: RackOption = RACK,
    wait: Annotated[
        float, typer.Option(help="How many seconds to listen for each bay's first pack.", min=0.5, max=60)
    ] = 5.0,
) -> None:
    """Read each channel once, and say what is wrong with which wire. Nothing is keyed.

    Exit status: 0 when every bay that was asked for can be soaked, 1 when one can't.
    """
    from daemon.probe import probe as run_probe  # noqa: PLC0415  the other commands start faster without

    config = RackFile.from_file(rack)
    raise typer.Exit(0 if run_probe(config, bays or [], wait, typer.echo) else 1)


def soak(  # noqa: PLR0917  the words of a command
    bay: Annotated[str, typer.Argument(help="The bay that the unit stands in.")],
    plan: Annotated[Path, typer.Option(help="The plan's file.")],
    number: Annotated[str, typer.Option(help="The job's number; one is given if left out.")] = "",
    unit: Annotated[str, typer.Option(help='The unit, as you call it: "MR-25 no. 014".')] = "",
    booking: Annotated[
        int | None, typer.Option(help="The booking of the unit; number and unit are then its own.", show_default=False)
    ] = None,
    load_w: Annotated[
        float | None,
        typer.Option(help="What the dummy load takes continuously, W; where rack.toml says it, that counts.", min=0),
    ] = None,
    forward_w: Annotated[float, typer.Option(help="What the radio gives under carrier, W.", min=0)] = 25.0,
    api: ApiOption = API,
) -> None:
    """Start a soak on a bay of the running daemon. The radio is keyed as the plan asks: keep people off.

    A plan that asks more of the dummy load than it takes is refused, and so is one where nobody has said what it takes.
    """
    text = read_text(plan)
    checked = Plan.from_toml(text, plan)  # so that an error names the person's own file
    with Client(api) as client:
        typical = Typical.model_validate({"forward_w": forward_w, "load_w": load_w})
        said = client.soak(bay, SoakOrder(plan=text, number=number, unit=unit, booking=booking, typical=typical))
    typer.echo(f"{bay}: {said.done}, {checked.total_s / 60:g} minutes, {checked.key_down_s / 60:g} of them keyed")


def drop(
    bays: Annotated[list[str] | None, typer.Argument(help="Which bays to unkey; all if left out.")] = None,
    api: ApiOption = API,
) -> None:
    """Drop the key: unkey bays at once, all of them if none is named. A soak that runs there ends."""
    with Client(api) as client:
        each: list[str | None] = [*bays] if bays else [None]
        for bay in each:
            said = client.unkey(bay)
            typer.echo(f"{said.done}: {', '.join(said.bays)}")


def release(
    bay: Annotated[str, typer.Argument(help="The bay whose supply was cut.")],
    note: Annotated[str, typer.Option(help="What kept the radio on, and what was done about it.")],
    person: Annotated[str, typer.Option(help="Who has found out; if left out, who is logged in.")] = "",
    api: ApiOption = API,
) -> None:
    """Switch a radio's supply on again after it was cut, because it went on drawing current when it was unkeyed."""
    order = ReasonOrder(person=person.strip() or getpass.getuser(), note=note)
    with Client(api) as client:
        said = client.release(bay, order)
    typer.echo(f"{bay}: {said.done}")
