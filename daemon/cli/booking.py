"""``keysoak book``, ``bookings`` and ``devices``: what is known of a unit before it is soaked."""

import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any

import typer

from daemon.api.booking_models import Booking, DeviceType, Question, SheetJudged
from daemon.api.client import Client
from daemon.booking.batch import COLUMNS
from daemon.cli.options import API, ApiOption
from daemon.errors import BadFile, NoSuch, Problem
from daemon.files import check, read_text

BAD_ROWS = 2  # as for other input that can't be used


def add_to(app: typer.Typer) -> None:
    """Add these commands to the app."""
    app.command()(book)
    app.command()(bookings)
    app.command()(devices)


Watts = Annotated[float | None, typer.Option(help="Power, W.", show_default=False)]
Text = Annotated[str | None, typer.Option(show_default=False)]


def book(  # noqa: PLR0917  the fields of a sheet
    file: Annotated[
        Path | None, typer.Argument(help="A sheet (.toml), or a unit a row (.csv); options go over it.")
    ] = None,
    number: Text = None,
    unit: Annotated[str | None, typer.Option(help='As you call it: "MR-25 no. 014".', show_default=False)] = None,
    kind: Annotated[str | None, typer.Option(help="Kind of unit.", show_default=False)] = None,
    serial: Text = None,
    customer: Annotated[str | None, typer.Option(help="May be left out, and erased later.", show_default=False)] = None,
    device_type: Annotated[str | None, typer.Option(help="As in `keysoak devices`.", show_default=False)] = None,
    lot: Text = None,
    bias_method: Text = None,
    rth_jc: Annotated[float | None, typer.Option(help="R_θJC, K/W.", show_default=False)] = None,
    rth_cs: Annotated[float | None, typer.Option(help="R_θCS, K/W.", show_default=False)] = None,
    tj_max: Annotated[float | None, typer.Option(help="T_J max, °C.", show_default=False)] = None,
    bias: Annotated[list[float] | None, typer.Option(help="Bias volts; once for each device.")] = None,
    idle: Annotated[list[float] | None, typer.Option(help="Idle current, A; once for each device.")] = None,
    before_am: Watts = None,
    before_am_pep: Watts = None,
    before_fm: Watts = None,
    before_ssb_pep: Watts = None,
    before_meter: Text = None,
    after_am: Watts = None,
    after_am_pep: Watts = None,
    after_fm: Watts = None,
    after_ssb_pep: Watts = None,
    after_meter: Text = None,
    over: Annotated[
        int | None, typer.Option(help="Put it in the place of this booking: power after, once it is measured.")
    ] = None,
    dry: Annotated[bool, typer.Option("--check", help="Only say what there is to ask of the sheet.")] = False,
    api: ApiOption = API,
) -> None:
    """Book a unit in with its set-up sheet, by options or a file; or a batch of units by CSV.

    What physics or common practice doubts is printed as a question, and kept all the same. Of a CSV file the good
    rows are kept and the bad ones named, with exit status 2. Its columns, in any order; all but the first two may
    be missing: {columns}.
    """
    given = {
        "number": number,
        "unit": unit,
        "kind": kind,
        "serial": serial,
        "customer": customer,
        "fitted": _some(
            type=device_type,
            lot=lot,
            bias_method=bias_method,
            rth_jc_k_w=rth_jc,
            rth_cs_k_w=rth_cs,
            tj_max_c=tj_max,
        ),
        "before": _powers(before_am, before_am_pep, before_fm, before_ssb_pep, before_meter),
        "after": _powers(after_am, after_am_pep, after_fm, after_ssb_pep, after_meter),
        "device": _devices(bias or [], idle or []),
    }
    with Client(api) as client:
        if file is not None and file.suffix.lower() == ".csv":
            if any(given.values()) or over is not None or dry:
                raise BadFile(
                    file, [Problem("", "options go with one unit, not with a batch: put them in its columns")]
                )
            raise typer.Exit(_batch(client, file))
        typed = _merged({} if file is None else _table(file), given)
        if dry:
            _say_all(client.check_booking(typed))
            return
        booked = client.book(check(typed, Booking, file or "keysoak book"), over)
    typer.echo(f"booking {booked.booking}: {typed['unit']} for job {typed['number']}")
    _say_all(booked.judged)


book.__doc__ = (book.__doc__ or "").format(columns=", ".join(COLUMNS))


def bookings(
    booking: Annotated[
        int | None, typer.Argument(help="One booking, with all of its sheet; the list if left out.")
    ] = None,
    find: Annotated[str, typer.Option(help="Only those with this in number, unit or serial.")] = "",
    erase_customer: Annotated[
        bool, typer.Option("--erase-customer", help="Remove this booking's customer from what is kept, for good.")
    ] = False,
    api: ApiOption = API,
) -> None:
    """List what is booked in, the newest first; show one; erase a customer."""
    with Client(api) as client:
        if booking is None:
            if erase_customer:
                raise BadFile("keysoak bookings", [Problem("--erase-customer", "of which booking?")])
            found = client.bookings(find)
            for each in found:
                soaks = f", soaked as job {', '.join(map(str, each.jobs))}" if each.jobs else ""
                typer.echo(f"{each.booking}  {each.number}  {each.unit}{soaks}")
            if not found:
                typer.echo("nothing is booked in" + (f" with {find!r}" if find else ""))
            return
        if erase_customer:
            typer.echo(client.erase_customer(booking).done)
            return
        typer.echo(client.booking(booking).model_dump_json(indent=2, exclude_none=True))


def devices(  # noqa: PLR0917  the words of a command
    name: Annotated[str | None, typer.Argument(help="The device type to keep or remove; the list if left out.")] = None,
    rth_jc: Annotated[float | None, typer.Option(help="Junction to case, K/W.", show_default=False)] = None,
    rth_cs: Annotated[float | None, typer.Option(help="Case to heatsink, K/W.", show_default=False)] = None,
    tj_max: Annotated[float | None, typer.Option(help="Highest junction temperature, °C.", show_default=False)] = None,
    note: Annotated[str, typer.Option(help="What there is to say of it.")] = "",
    remove: Annotated[
        bool, typer.Option("--remove", help="Take it out; bookings keep what they took from it.")
    ] = False,
    api: ApiOption = API,
) -> None:
    """The workshop's library of device types: list it, keep a type with the data of its maker's sheet, remove one."""
    with Client(api) as client:
        known = {each.name: each for each in client.devices()}
        if name is None:
            for each in known.values():
                typer.echo(_device(each))
            if not known:
                typer.echo('the library is empty: keysoak devices "type A" --rth-jc 0.6 --rth-cs 0.2 --tj-max 175')
        elif remove:
            typer.echo(client.remove_device(name).done)
        elif rth_jc is None and rth_cs is None and tj_max is None and not note:
            if name not in known:
                raise NoSuch("device type", name, list(known))
            typer.echo(_device(known[name]))
        else:
            data = _some(name=name, rth_jc_k_w=rth_jc, rth_cs_k_w=rth_cs, tj_max_c=tj_max, note=note)
            typer.echo(client.put_device(check(data, DeviceType, "keysoak devices")).done)


# --- a sheet from options and a file -----------------------------------------------------------------------------


def _some(**fields: object) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if value is not None}


def _powers(
    am: float | None, am_pep: float | None, fm: float | None, ssb_pep: float | None, meter: str | None
) -> dict[str, Any]:
    return _some(am_carrier_w=am, am_pep_w=am_pep, fm_w=fm, ssb_pep_w=ssb_pep, meter=meter)


def _devices(bias_v: list[float], idle_a: list[float]) -> list[dict[str, Any]]:
    count = max(len(bias_v), len(idle_a))
    pairs = zip(_filled(bias_v, count), _filled(idle_a, count), strict=True)
    return [_some(bias_v=bias, idle_a=idle) for bias, idle in pairs]


def _filled(values: list[float], count: int) -> list[float | None]:
    return [*values, *[None] * (count - len(values))]


def _table(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(read_text(file))
    except tomllib.TOMLDecodeError as err:
        raise BadFile(file, [Problem("", f"is not TOML: {err}")]) from err


def _merged(table: dict[str, Any], given: dict[str, Any]) -> dict[str, Any]:
    merged = dict(table)
    for name, value in given.items():
        own = merged.get(name)
        if isinstance(value, dict):
            if value and isinstance(own, dict):
                merged[name] = own | value
            elif value:
                merged[name] = value
        elif value:
            merged[name] = value
    return merged


# --- what is said ------------------------------------------------------------------------------------------------


def _batch(client: Client, file: Path) -> int:
    done = client.book_batch(read_text(file))
    for row in done.kept:
        typer.echo(f"row {row.row}: booking {row.booking}, {row.unit} for job {row.number}")
        _ask(row.questions)
    for bad in done.bad:
        typer.echo(f"row {bad.row}: {bad.field}: {bad.what}" if bad.field else f"row {bad.row}: {bad.what}", err=True)
    return BAD_ROWS if done.bad else 0


def _say_all(judged: SheetJudged) -> None:
    for problem in judged.problems:
        typer.echo(f"  {problem.field}: {problem.what}")
    for name in judged.missing:
        typer.echo(f"  {name}: is missing")
    for mode, found_db in judged.gain_db.items():
        typer.echo(f"  gain {mode.removesuffix('_w')}: {found_db:+.1f} dB")
    for when, depth in judged.depth.items():
        typer.echo(f"  modulation depth {when}: {depth:.0%}")
    _ask(judged.questions)
    for lacking in judged.not_judged:
        typer.echo(f"  not judged: {lacking.check}: {lacking.why}")


def _ask(questions: Iterable[Question]) -> None:
    for question in questions:
        typer.echo(f"  ? {question.text} ({question.source})")


def _device(device: DeviceType) -> str:
    parts = [
        ("R_θJC", device.rth_jc_k_w, "K/W"),
        ("R_θCS", device.rth_cs_k_w, "K/W"),
        ("T_J max", device.tj_max_c, "°C"),
    ]
    said = [f"{what} {value:g} {unit}" for what, value, unit in parts if value is not None]
    return ": ".join([device.name, ", ".join([*said, *filter(None, [device.note])])])
