"""The certificate as a PDF of one or two pages, set by typst with the fonts that it brings."""

import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import typst

from daemon.certificate.facts import Facts
from daemon.certificate.mark import Mark
from daemon.certificate.sheet import instant, words
from daemon.errors import CertificateFailed

_TEMPLATE = Path(__file__).with_name("sheet.typ")
#: tried in turn until the strip-chart is on the first page: how many reasons there are at most, how wide it is, and how
#: large the type, pt
_FIRST = (
    *((14, 1.0, 9.0), (14, 0.95, 9.0), (8, 0.9, 9.0), (5, 0.85, 9.0)),
    *((3, 0.8, 8.5), (2, 0.8, 8.5), (1, 0.75, 8.5), (1, 0.6, 7.5)),
)
#: then, until all fits two pages: how many alerts there are at most, and as many actions
_ROWS = (14, 10, 7, 5, 3, 2, 1)
PAGES = 2
#: no word; it may be broken every few letters, as the narrowest line holds no more
_LONG_WORD = re.compile(r"\S{25,}")
_PIECE = re.compile(r"(\S{6})(?=\S)")


def pdf(facts: Facts, chart: str, mark: Mark | None = None) -> bytes:
    """The certificate; ``chart`` is an SVG document. Raises CertificateFailed where typst can't set it."""
    try:
        made = _laid_out(facts, chart, mark)
        out = _compiled(made, facts.made_ns // 10**9)
    except RuntimeError as err:  # its root: a query raises that one
        raise CertificateFailed(facts.job, str(err)) from err
    return out


def _laid_out(facts: Facts, chart: str, mark: Mark | None) -> typst.Compiler:
    start = 0  # where no chart is small enough, a large one may as well stand on the second page
    for n, first in enumerate(_FIRST):
        made = _set(facts, chart, mark, first, _ROWS[0])
        if _page(made, "<strip>") == 1:
            if _page(made, "<pages>") <= PAGES:
                return made
            start = n
            break
    for first in _FIRST[start:]:
        for rows in _ROWS:
            made = _set(facts, chart, mark, first, rows)
            if _page(made, "<pages>") <= PAGES:
                return made
    return made


def _set(facts: Facts, chart: str, mark: Mark | None, first: tuple[int, float, float], rows: int) -> typst.Compiler:
    reasons, scale, size = first
    given = json.dumps(_given(facts, chart, mark, reasons, rows) | {"scale": scale, "size": size})
    return typst.Compiler(_TEMPLATE, font_paths=_fonts(), sys_inputs={"given": given})


def _compiled(made: typst.Compiler, time_s: int) -> bytes:
    try:
        # has its fonts in it, and can be read when nobody remembers this program (ISO 19005-2)
        out = made.compile(format="pdf", pdf_standards="a-2b", timestamp=time_s)
    except typst.TypstError:
        # a script for which this machine has no font: boxes on paper, and not PDF/A, but a certificate
        out = made.compile(format="pdf", timestamp=time_s)
    assert isinstance(out, bytes)
    return out


def _page(made: typst.Compiler, label: str) -> int:
    return int(json.loads(made.query(label, field="value", one=True)))


@cache
def _fonts() -> typst.Fonts:
    # the system's too: a unit may be named in a script that the fonts of typst do not have
    return typst.Fonts()


def _given(facts: Facts, chart: str, mark: Mark | None, reasons: int, rows: int) -> dict[str, Any]:
    said = {
        name.replace("_", "-"): value for name, value in _breakable(words(facts, rows, reasons).model_dump()).items()
    }
    return {
        "words": said,
        "ended": instant(facts.ended_ns, facts),
        "chart": chart,
        "chart-says": chart_says(facts),
        "chart-notes": CHART_NOTES,
        "mark": None if mark is None else list(mark.data),
        "mark-format": None if mark is None else mark.kind.replace("jpeg", "jpg"),
    }


CHART_NOTES = (
    "▲ and ■ with a number: the alert of that number, ■ where it unkeyed. The plan's band is as high as the part of "
    "the time that is keyed. Every least and greatest reading is drawn; a break in a line is time without readings."
)


def chart_says(facts: Facts) -> str:
    """What the strip-chart shows, for who can't see it."""
    return (
        f"Strip-chart of the soak over {facts.plan.total_s / 60:g} minutes: temperatures, drain currents, power and "
        "supply, with the plan at the foot; their extremes are in the table of figures."
    )


def _breakable(value: Any) -> Any:
    if isinstance(value, str):
        return _LONG_WORD.sub(lambda found: _PIECE.sub("\\1\u200b", found[0]), value)
    if isinstance(value, list):
        return [_breakable(one) for one in value]
    return {name: _breakable(one) for name, one in value.items()} if isinstance(value, dict) else value
