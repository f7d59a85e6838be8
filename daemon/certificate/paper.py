"""The certificate as a PDF of one or two pages, set by typst with the fonts that it brings."""

import json
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

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
#: how typst names a character that it has no font for, one by one
_NOT_DISPLAYED = re.compile(r'the text `"(.+?)"` could not be displayed')
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")
_INSTEAD = "□"
NOT_PRINTED = (
    f"{_INSTEAD} stands for a character for which there was no font where this was made. This certificate as a page "
    "(HTML) has all of them."
)


class Content(NamedTuple):
    """What is laid out: ``missing`` are characters for which there is no font."""

    facts: Facts
    chart: str
    mark: Mark | None
    missing: frozenset[str] = frozenset()


def pdf(facts: Facts, chart: str, mark: Mark | None = None) -> bytes:
    """The certificate; ``chart`` is an SVG document. Raises CertificateFailed where typst can't set it.

    A character that no font of this machine has is printed as □, and what that stands for is said.
    """
    try:
        return _set_whole(Content(facts, chart, mark))
    except RuntimeError as err:  # its root: a query raises that one
        raise CertificateFailed(facts.job, str(err)) from err


def _set_whole(content: Content) -> bytes:
    time_s = content.facts.made_ns // 10**9
    while True:
        made = _laid_out(content)
        try:
            # has its fonts in it, and can be read when nobody remembers this program (ISO 19005-2)
            out = made.compile(format="pdf", pdf_standards="a-2b", timestamp=time_s)
        except typst.TypstError as err:
            missing = _not_displayed(err.diagnostic) | content.missing
            if missing == content.missing:
                raise
            content = content._replace(missing=missing)
            continue
        assert isinstance(out, bytes)
        return out


def _not_displayed(diagnostic: str) -> frozenset[str]:
    found = "".join(_NOT_DISPLAYED.findall(diagnostic))
    return frozenset(_ESCAPED.sub(lambda code: chr(int(code[1], 16)), found)) - {_INSTEAD}


def _laid_out(content: Content) -> typst.Compiler:
    start = 0  # where no chart is small enough, a large one may as well stand on the second page
    for n, first in enumerate(_FIRST):
        made = _set(content, first, _ROWS[0])
        if _page(made, "<strip>") == 1:
            if _page(made, "<pages>") <= PAGES:
                return made
            start = n
            break
    for first in _FIRST[start:]:
        for rows in _ROWS:
            made = _set(content, first, rows)
            if _page(made, "<pages>") <= PAGES:
                return made
    return made


def _set(content: Content, first: tuple[int, float, float], rows: int) -> typst.Compiler:
    reasons, scale, size = first
    data = given(content, reasons, rows) | {"scale": scale, "size": size}
    return typst.Compiler(_TEMPLATE, font_paths=fonts(), sys_inputs={"given": json.dumps(data)})


def _page(made: typst.Compiler, label: str) -> int:
    return int(json.loads(made.query(label, field="value", one=True)))


@cache
def fonts() -> typst.Fonts:
    """The fonts that typst may use, found once."""
    # the system's too: a unit may be named in a script that the fonts of typst do not have
    return typst.Fonts()


def given(content: Content, reasons: int, rows: int) -> dict[str, Any]:
    """All that the template is given, but for its measures; so many reasons and rows of a table at most."""
    facts, chart, mark, missing = content
    instead = str.maketrans(dict.fromkeys(missing, _INSTEAD))
    said = _each(words(facts, rows, reasons).model_dump(), lambda text: _breakable(text.translate(instead)))
    return {
        "words": {name.replace("_", "-"): value for name, value in said.items()},
        "not-printed": NOT_PRINTED if missing else "",
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


def _breakable(text: str) -> str:
    return _LONG_WORD.sub(lambda found: _PIECE.sub("\\1\u200b", found[0]), text)


def _each(value: Any, change: Callable[[str], str]) -> Any:
    """``value`` with each text in it changed."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list):
        return [_each(one, change) for one in value]
    return {name: _each(one, change) for name, one in value.items()} if isinstance(value, dict) else value
