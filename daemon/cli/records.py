"""``keysoak replay``, ``export`` and ``verify``: what was recorded, judged again, taken along, or checked."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from daemon.cli.options import RACK, RackOption
from daemon.config import RackFile
from daemon.errors import CertificateBroken, SealBroken
from daemon.files import parse, read_text
from daemon.plan import Plan


def add_to(app: typer.Typer) -> None:
    """Add these commands to the app."""
    app.command()(replay)
    app.command()(export)
    app.command()(verify)


def replay(
    recording: Annotated[Path, typer.Argument(help="A recording, plain or ending in .gz or .zst.")],
    plan: Annotated[Path, typer.Option(help="The plan that was soaked to.")],
    limits: Annotated[
        Path | None, typer.Option(help="Other limits: a TOML file of limits, over those of the plan.")
    ] = None,
) -> None:
    """Judge a recording as a live bay would have, as fast as it can; one JSON object a line.

    The last line of each bay is its verdict. Exit status: 0 every bay passes, 1 one fails, 2 the input can't be
    read, 3 one is incomplete.
    """
    from daemon.replay import replay as run_replay  # noqa: PLC0415

    chosen = Plan.from_file(plan)
    if limits is not None:
        own = chosen.limits.model_dump(exclude_unset=True)
        others = parse(read_text(limits), type(chosen.limits), limits).model_dump(exclude_unset=True)
        merged = type(chosen.limits).model_validate(own | others)
        chosen = chosen.model_copy(update={"limits": merged})
    raise typer.Exit(run_replay(recording, chosen, sys.stdout.write))


def export(
    job: Annotated[int, typer.Argument(help="The job's number on the job page: the one in its address.")],
    out: Annotated[
        Path,
        typer.Argument(help="The file to write: .csv, .parquet, or else a recording; .gz or .zst at the end packs it."),
    ],
    rack: RackOption = RACK,
    data: Annotated[
        Path | None,
        typer.Option(help="The folder that holds the readings, instead of the one that --rack names."),
    ] = None,
) -> None:
    """Write one job's readings to a file, in engineering units; the daemon may run or not."""
    from daemon.export import export as write_export  # noqa: PLC0415

    folder = data if data is not None else RackFile.from_file(rack).rack.data
    count = write_export(folder, job, out)
    typer.echo(f"{out}: {count} readings of job {job}")


def verify(
    file: Annotated[Path, typer.Argument(help="A sealed file or a copy of it, or a certificate, .pdf or .html.")],
    rack: RackOption = RACK,
    data: Annotated[
        Path | None,
        typer.Option(help="The folder that holds the readings, instead of the one that --rack names."),
    ] = None,
) -> None:
    """Check that a sealed job is, to the last bit, what was sealed when the job ended; the daemon may run or not.

    A certificate is checked too: a page (.html) against itself, the catalog and the sealed file; a PDF against those
    that were made here, and the sealed file.

    Exit status: 0 it is, 1 something in it was changed, 2 nothing can be said of it.
    """
    from daemon.certificate.check import check, check_paper, is_page, is_paper, told  # noqa: PLC0415
    from daemon.verify import verify as run_verify  # noqa: PLC0415

    folder = data if data is not None else RackFile.from_file(rack).rack.data
    try:
        if is_paper(file):
            typer.echo(check_paper(folder, file))
            return
        if is_page(file):
            typer.echo(told(file, check(folder, file)))
            return
        seal = run_verify(folder, file)
    except (SealBroken, CertificateBroken) as err:
        typer.echo(f"keysoak: {err}", err=True)
        raise typer.Exit(1) from err
    when = datetime.fromtimestamp(seal.sealed_ns / 1e9, UTC)
    typer.echo(
        f"{file}: is what was sealed of job {seal.job} on {when:%Y-%m-%d at %H:%M:%S} UTC, {seal.frames} readings\n"
        f"SHA-256 {seal.sha256}"
    )
