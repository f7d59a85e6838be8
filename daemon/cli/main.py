"""``keysoak``: the one command, its parts, and how its errors reach a person."""

import sys

import typer

from daemon.api.errors import ApiError
from daemon.cli import alerts, bench, booking, calibrate, certificate, explain, lots, records, running, tell
from daemon.errors import DaemonError
from daemon.version import VERSION
from sensors.errors import SensorsError

#: the contract's status for input that can't be read; also for an order that was refused
EXIT_BAD_INPUT = 2

HELP = """Soak refitted two-way radios on dummy loads: lend each radio its key, watch it, unkey before damage.

Start with `keysoak demo`: a rack of eight simulated radios, nothing to wire.
At a real bench: write rack.toml, see that every wire is right with `keysoak probe`, run `keysoak serve`, start a
soak with `keysoak soak`, take the key back with `keysoak drop`.

Exit status: 0 done (for replay: all pass), 1 a bay fails, 2 bad input or order refused, 3 incomplete.

RF burns, hot metal, mains and fire hurt people, and an unlicensed emission is an offence in most places: key only
into a dummy load that is rated for it, keep people off, and follow local codes and licensed practice.
"""

app = typer.Typer(
    name="keysoak",
    help=HELP,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    rich_markup_mode=None,
)
running.add_to(app)
bench.add_to(app)
booking.add_to(app)
calibrate.add_to(app)
lots.add_to(app)
records.add_to(app)
certificate.add_to(app)
alerts.add_to(app)
explain.add_to(app)
tell.add_to(app)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"keysoak {VERSION}")
        raise typer.Exit


@app.callback()
def _options(
    version: bool = typer.Option(
        False, "--version", help="Say the version and stop.", callback=_version, is_eager=True
    ),
) -> None:
    pass


def main() -> None:
    """Run the command; what goes wrong is one plain message on standard error, never a trace."""
    try:
        app()
    except (DaemonError, SensorsError, ApiError) as err:
        typer.echo(f"keysoak: {err}", err=True)
        sys.exit(EXIT_BAD_INPUT)
    except BrokenPipeError:
        # the reader of our output has gone (`keysoak replay … | head`): nothing is left to say to it
        sys.stderr.close()
        sys.exit(EXIT_BAD_INPUT)


if __name__ == "__main__":
    main()
