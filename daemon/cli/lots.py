"""``keysoak lots``: what the units of one kind and device lot tell together."""

import typer

from daemon.api.client import Client
from daemon.api.lot_models import LEAST_UNITS, NAMES, LotView, in_words, named
from daemon.certificate.text import duration
from daemon.cli.options import API, ApiOption


def add_to(app: typer.Typer) -> None:
    """Add this command to the app."""
    app.command()(lots)


def lots(api: ApiOption = API) -> None:
    """Compare the units of each kind and device lot: where the good ones lie, who stands apart, what drifts."""
    with Client(api) as client:
        found = client.lots()
    if not found:
        typer.echo("no unit has been soaked yet")
    for lot in found:
        for line in lines(lot):
            typer.echo(line)


def sign(unit: str) -> str:
    """A unit after its figure; a ratio has none."""
    return "" if unit == "1" else f" {unit}"


def lines(lot: LotView) -> list[str]:
    """One lot as lines of text."""
    name = ", ".join(filter(None, [lot.kind, named("type", lot.device_type), named("lot", lot.lot)]))
    said = [f"{name}: {lot.units} {'unit' if lot.units == 1 else 'units'}, {lot.passed} good"]
    for band in lot.bands:
        low, middle, high = (f"{value:.3g}" for value in (band.low, band.middle, band.high))
        said.append(f"    {NAMES[band.figure]:31} {low} to {high}{sign(band.unit)}, the middle {middle}")
    if lot.bands:
        said += [f"    {NAMES[figure]:31} not judged: {why}" for figure, why in lot.not_judged.items()]
    else:
        said.append(
            f"    no band yet: one needs {LEAST_UNITS} good units that have a figure, and there are {lot.passed}"
        )
    if lot.heat:
        one, of_all = lot.heat, duration(lot.heat.total_s)
        each = f"{duration(one.least_s)} to {duration(one.most_s)} a unit, {of_all} in all"
        said.append(
            f"    time at temperature stands for {each}, at {one.service_c:g} °C (Arrhenius, activation energy "
            f"{one.activation_ev:g} eV, an assumption)"
        )
    said += [f"    ! {in_words(each.text)}" for each in lot.outside]
    said += [f"    ~ {in_words(each.text)}" for each in lot.trends]
    return said
