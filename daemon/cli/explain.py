"""``keysoak explain``: what a rule computes, its limits with their units, and its sources."""

from typing import Annotated

import typer

from alerts.explain import NAMES
from alerts.explain import explain as told_of
from daemon.errors import Refused


def add_to(app: typer.Typer) -> None:
    """Add this command to the app."""
    app.command()(explain)


def explain(
    rule: Annotated[str, typer.Argument(help="A rule's name, as an alert shows it; left out, all names.")] = "",
) -> None:
    """Say what a rule computes, its limits with their defaults, and its sources."""
    if not rule:
        typer.echo("\n".join(NAMES))
        return
    if rule not in NAMES:
        raise Refused(f"there is no rule {rule!r}: the rules are {', '.join(NAMES)}")
    told = told_of(rule)
    typer.echo(f"{told.rule}\n\n{told.computes}\n\nLimits (a plan's [limits] changes them):")
    for name, default, description in told.limits:
        typer.echo(f"  {name} = {default:g}\n      {description}")
    typer.echo("\nSources:")
    for source in told.sources:
        typer.echo(f"  {source}")
