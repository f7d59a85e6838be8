"""``keysoak calibrate`` and ``calibrations``: a channel against a reference instrument."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from daemon.api.calibration_models import (
    CalibrationJudged,
    CalibrationKind,
    CalibrationOrder,
    CalibrationView,
    LineView,
    PointView,
    TablePointView,
)
from daemon.api.client import Client
from daemon.cli import points as typed_points
from daemon.cli.options import API, RACK, ApiOption, RackOption
from daemon.errors import NoSuch
from daemon.files import check

_LINE, _TABLE = CalibrationKind.LINE, CalibrationKind.TABLE


def add_to(app: typer.Typer) -> None:
    """Add these commands to the app."""
    app.command()(calibrate)
    app.command()(calibrations)
    app.command()(recompute)


def calibrate(  # noqa: PLR0917  the words of a command
    bay: Annotated[str, typer.Argument(help="As in rack.toml.")],
    channel: Annotated[str, typer.Argument(help="As forward, drain-1, heatsink.")],
    point: Annotated[
        list[str] | None,
        typer.Option(
            help=f"{typed_points.LINE}; of a table {typed_points.TABLE}. Two at the least; left out: what is read."
        ),
    ] = None,
    points: Annotated[
        Path | None,
        typer.Option(
            help="A CSV file of them, with the first line reading,reference; of a table volts,dbm,u_db.",
            show_default=False,
        ),
    ] = None,
    kind: Annotated[
        CalibrationKind, typer.Option(help="A line, or a table of a power detector whose node sends volts.")
    ] = _LINE,
    reference: Annotated[str, typer.Option(help="The reference instrument's name.", show_default=False)] = "",
    u: Annotated[
        float | None,
        typer.Option(
            help="Its own standard uncertainty (k = 1), in the channel's unit; for a table in dB.", show_default=False
        ),
    ] = None,
    due: Annotated[
        datetime | None, typer.Option(help="The last day on which it holds.", formats=["%Y-%m-%d"], show_default=False)
    ] = None,
    who: Annotated[str, typer.Option(help="Who calibrated.")] = "",
    note: Annotated[str, typer.Option(help="What there is to say of it.")] = "",
    raw: Annotated[
        bool, typer.Option("--raw", help="The readings are without the correction in force, as `keysoak probe` says.")
    ] = False,
    dry: Annotated[bool, typer.Option("--check", help="Only say what would come of it.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Also where it changes a reading by much.")] = False,
    api: ApiOption = API,
) -> None:
    """Draw a line through points against a reference instrument, and correct the channel by it from now on.

    Least squares with standard uncertainties (GUM H.3); the reference's own goes in by quadrature. A power detector
    takes a table instead (--kind table): straight between points in (log V, dBm), never beyond them, each reading with
    the uncertainty of its points and the reference. A new calibration supersedes the one before and nothing is deleted.
    Not while the bay soaks.
    """
    given = [typed_points.typed(text, kind) for text in point or []]
    given += typed_points.of_file(points, kind) if points else []
    with Client(api) as client:
        if not given:
            typer.echo(_now(client, bay, channel))
            return
        typed: dict[str, Any] = {
            "bay": bay,
            "channel": channel,
            "kind": kind,
            "points": given,
            "reference": reference,
            "u_reference": u,
            "due": due and due.date(),
            "who": who,
            "note": note,
            "as_shown": not raw,
        }
        order = check({k: v for k, v in typed.items() if v is not None}, CalibrationOrder, "keysoak calibrate")
        judged = client.check_calibration(order)
        for line in _told(judged):
            typer.echo(line)
        if dry:
            if judged.asks:
                typer.echo(f"? {judged.asks}")
            return
        if judged.asks and not yes:
            typer.confirm(f"{judged.asks}. Put it in force?", abort=True)
        kept = client.calibrate(order.model_copy(update={"confirm": True}))
    typer.echo(f"calibration {kept.id} of {kept.channel} on {kept.bay} is in force{_until(kept)}")


def calibrations(
    bay: Annotated[str | None, typer.Argument(help="One bay; all if left out.")] = None,
    channel: Annotated[str | None, typer.Argument(help="One channel; all if left out.")] = None,
    api: ApiOption = API,
) -> None:
    """List calibrations, the newest first, with those that were superseded."""
    with Client(api) as client:
        found = client.calibrations(bay, channel)
    for one in found:
        typer.echo(_listed(one))
    if not found:
        typer.echo("no calibration is kept: readings are as the conversions of rack.toml have them")


def recompute(
    job: Annotated[int, typer.Argument(help="The job's number on the job page: the one in its address.")],
    out: Annotated[Path, typer.Argument(help="The recording to write; .gz or .zst at the end packs it.")],
    rack: RackOption = RACK,
    data: Annotated[
        Path | None,
        typer.Option(help="The folder that holds the readings, instead of the one that --rack names."),
    ] = None,
) -> None:
    """Compute a job anew by the calibrations that are in force now, as a recording, and judge that.

    What is kept of the job stays as it was. Exit status: 0 it passes, 1 it fails, 2 it can't be computed, 3 incomplete.
    """
    from daemon.calibration.recompute import recompute as compute_anew  # noqa: PLC0415
    from daemon.config import RackFile  # noqa: PLC0415
    from daemon.serve import wiring_of  # noqa: PLC0415

    # the conversions are of use where a line has followed a table; with --data there may be no rack.toml
    config = RackFile.from_file(rack) if data is None or rack.is_file() else None
    wirings = {table.name: wiring_of(table) for table in config.bay} if config else {}
    folder = data if data is not None else config.rack.data if config else Path()
    raise typer.Exit(compute_anew(folder, job, out, typer.echo, lambda bay: wirings.get(bay, {})))


def _now(client: Client, bay: str, channel: str) -> str:
    known = {reading.channel: reading for reading in client.bay(bay).readings}
    if channel not in known:
        raise NoSuch(f"reading of {bay} from", channel, list(known))
    reading = known[channel]
    value = f"no value ({reading.quality})" if reading.value is None else f"{reading.value:g} {_unit(reading.unit)}"
    told = f"{channel} of {bay}: {value}"
    if reading.volts is not None:
        told += f", its detector {reading.volts:g} V"
    if reading.calibration_id is None:
        return f"{told}, not calibrated"
    by = f", by calibration {reading.calibration_id}"
    if reading.raw is not None and reading.raw_unit != "V":
        by = (
            f", {reading.raw:g} {_unit(reading.raw_unit)} before the correction of calibration {reading.calibration_id}"
        )
    return told + by + (f", {reading.calibration}" if reading.calibration else "")


def _told(judged: CalibrationJudged) -> list[str]:
    unit = _unit(judged.unit)
    lines = [_line(judged.line, unit)] if judged.line else [f"a table of {len(judged.table)} points"]
    lines += [_one_point(point, unit) for point in judged.points]
    return [*lines, *map(_table_point, judged.table), *judged.said]


def _line(line: LineView, unit: str) -> str:
    known = f" (u {_number(line.u_intercept)} and {_number(line.u_slope)}, correlation {line.correlation:.2f})"
    told = f"correction {line.intercept:+.4g} {unit} {line.slope:+.4g} · (reading − {line.pivot:.4g} {unit})"
    if line.residual is None:
        return told
    return f"{told}{known}; readings lie {line.residual:.2g} {unit} about it"


def _one_point(point: PointView, unit: str) -> str:
    return (
        f"  {point.reading:.5g} → {point.corrected:.5g} {unit}, reference {point.reference:.5g}, "
        f"residual {point.residual:+.2g}, U {point.expanded:.2g} (k = 2)"
    )


def _table_point(point: TablePointView) -> str:
    own = f"own u {point.u_db:.2g} dB, " if point.u_db else ""
    return f"  {point.volts:.5g} V → {point.dbm:.2f} dBm, {point.watts:.4g} W, {own}U {point.expanded_w:.2g} W (k = 2)"


def _listed(one: CalibrationView) -> str:
    unit = _unit(one.unit)
    made = datetime.fromtimestamp(one.made_ns / 1e9, UTC).astimezone()
    state = ("in force" + _until(one)) if one.in_force else "superseded"
    by = f", by {one.who}" if one.who else ""
    drawn = f"{len(one.points)} points"
    if one.table:
        drawn = f"a table of {len(one.table)} points from {one.table[0].watts:.3g} to {one.table[-1].watts:.3g} W"
    worst = max([*(point.expanded for point in one.points), *(point.expanded_w for point in one.table)])
    return (
        f"{one.id}  {one.bay}  {one.channel}  {made:%Y-%m-%d}{by}, against {one.reference}, {drawn}, "
        f"U {worst:.2g} {unit} (k = 2) at most: {state}"
    )


def _until(one: CalibrationView) -> str:
    if one.past_due:
        return f", {one.past_due}"
    return f", due {one.due}" if one.due else ""


def _number(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.2g}"


def _unit(unit: str) -> str:
    return {"Cel": "°C"}.get(unit, unit)
