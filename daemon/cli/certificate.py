"""``keysoak certificate``: what goes back with a unit."""

from pathlib import Path
from typing import Annotated

import typer

from daemon.cli.options import RACK, RackOption
from daemon.config import RackFile, WorkshopTable
from daemon.errors import ExportFailed


def add_to(app: typer.Typer) -> None:
    """Add this command to the app."""
    app.command()(certificate)


def certificate(
    job: Annotated[int, typer.Argument(help="The job's number on the job page: the one in its address.")],
    out: Annotated[
        Path, typer.Argument(help="The file to write: .pdf, or .html for one page that needs nothing else.")
    ],
    rack: RackOption = RACK,
    data: Annotated[
        Path | None,
        typer.Option(help="The folder that holds the readings, instead of the one that --rack names."),
    ] = None,
) -> None:
    """Write the certificate of a finished job; the daemon may run or not.

    The workshop's name and mark are those of [workshop] in rack.toml, where there is one.
    """
    from daemon.certificate.make import Certificates  # noqa: PLC0415  the other commands start faster without

    kind = out.suffix.lower()
    if kind not in (".pdf", ".html"):
        raise typer.BadParameter("must end in .pdf or .html", param_hint="OUT")
    config = RackFile.from_file(rack) if data is None or rack.is_file() else None
    folder = data if data is not None else config.rack.data if config else Path()
    certificates = Certificates(folder, config.workshop if config else WorkshopTable())
    made = certificates.pdf(job) if kind == ".pdf" else certificates.html(job)
    part = out.with_name(f".{out.name}.part")
    try:
        part.write_bytes(made)
        part.replace(out)
    except OSError as err:
        raise ExportFailed(out, err.strerror or str(err)) from err
    finally:
        part.unlink(missing_ok=True)
    typer.echo(f"{out}: the certificate of job {job}")
