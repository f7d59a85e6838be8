"""The certificate as one HTML file that needs nothing else: no script, no font, no picture from elsewhere.

The facts are in it as JSON, and a digest of the whole, so that `keysoak verify` can tell whether it was changed.
"""

import hashlib
import re
from base64 import b64decode, b64encode
from collections.abc import Sequence
from html import escape
from pathlib import Path

from daemon.certificate.facts import Facts
from daemon.certificate.mark import Mark
from daemon.certificate.paper import CHART_NOTES, chart_says
from daemon.certificate.sheet import instant, words
from daemon.certificate.unit import Row

_STYLE = Path(__file__).with_name("page.css")
_BLANK = "0" * 64
_DIGEST = re.compile(rb'<meta name="sha-256" content="([0-9a-f]{64})">')
_FACTS = re.compile(rb'<script type="application/json" id="facts">(.*?)</script>', re.DOTALL)
_CHART = re.compile(rb'<img class="chart" src="data:image/svg\+xml;base64,([A-Za-z0-9+/=]*)"')
_MARK = re.compile(rb'<img class="mark" src="data:image/(svg|png|jpeg)[^;"]*;base64,([A-Za-z0-9+/=]*)"')
#: a page that is larger is none of ours
LARGEST_BYTES = 16 << 20


def html(facts: Facts, chart: str, mark: Mark | None = None) -> bytes:
    """The certificate; ``chart`` is an SVG document."""
    w = words(facts)
    picture = f"data:image/svg+xml;base64,{b64encode(chart.encode()).decode()}"
    shown_mark = f'<img class="mark" src="{mark.url}" alt="The workshop\'s mark">' if mark else ""
    actions = _table(w.actions) if w.actions else "<p>No person’s acknowledgement or note is on record.</p>"
    figures = _table(w.figures, "numbers") if w.figures[1:] else "<p>Nothing was measured.</p>"
    parts = [
        f'<header>{shown_mark}<p class="shop">{escape(w.workshop)}</p><p class="kind">Soak certificate</p></header>',
        f'<div class="top"><section><h1>{escape(w.unit[0][1])}</h1>{_pairs(w.unit[1:])}',
        f"<h2>What was fitted</h2>{_pairs(w.fitted)}",
        f"<h2>Set-up sheet</h2>{_pairs(w.set_up)}" if w.set_up else "",
        f'</section><div class="stamp {escape(w.verdict)}"><div><b>{escape(w.verdict.upper())}</b>'
        f"<span>{escape(instant(facts.ended_ns, facts))}</span><span>{escape(w.stamp)}</span>"
        f"{f'<strong>{escape(w.unsealed)}</strong>' if w.unsealed else ''}</div></div></div>",
        _section("Verdict", f"<p>{escape(w.verdict_says)}</p>{_list(w.reasons)}"),
        _section(
            "The soak",
            f'{_pairs(w.plan)}<img class="chart" src="{picture}" alt="{escape(chart_says(facts))}">'
            f'<p class="small faint">{escape(CHART_NOTES)}</p>',
        ),
        _section(
            "Figures",
            f'{figures}<p class="small">{escape(w.rule)}</p>',
        ),
        _section("Calibrations", f"{_table(w.calibrations)}<p>{escape(w.calibrations_say)}</p>"),
        _section("Limits that were in force", f'<div class="two">{_pairs(w.limits)}</div>'),
        _section(
            "Alerts, and what was done", f"{_table(w.alerts)}{actions}" if w.alerts else "<p>No alert was raised.</p>"
        ),
        _section("The readings", f'<div class="digest">{_pairs(w.seal)}</div><p>{escape(w.seal_says)}</p>'),
        f'<section class="framed"><p><b>Cautions.</b> {escape(w.cautions)}</p>'
        f"<p><b>Not a licence.</b> {escape(w.legal)}</p></section>",
        f"<footer>{escape(w.foot)} · {escape(w.made)}</footer>",
    ]
    body = "\n".join(filter(None, parts))
    # no "<" can end the block or begin another, whatever is in a text
    data = facts.model_dump_json().replace("<", "\\u003c")
    document = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; img-src data:; '
        "style-src 'unsafe-inline'\">\n"
        f'<meta name="sha-256" content="{_BLANK}">\n'
        f"<title>Soak certificate, {escape(w.foot)}</title>\n"
        f"<style>\n{_STYLE.read_text(encoding='utf-8')}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n"
        f'<script type="application/json" id="facts">{data}</script>\n</body>\n</html>\n'
    ).encode()
    return document.replace(_BLANK.encode(), _digest(document).encode(), 1)


def intact(document: bytes) -> bool:
    """Whether a page is to the last byte what was made; this finds damage, and no forger who makes a new digest."""
    found = _DIGEST.search(document)
    if found is None:
        return False
    blank = document[: found.start(1)] + _BLANK.encode() + document[found.end(1) :]
    return _digest(blank) == found[1].decode()


def facts_of(document: bytes) -> Facts:
    """The facts in a page; raises ValueError (pydantic's among them) where there are none that can be read."""
    found = _FACTS.search(document)
    if found is None:
        raise ValueError("it has no facts of a certificate in it")
    return Facts.model_validate_json(found[1])


def agrees(document: bytes, facts: Facts) -> bool:
    """Whether what a person reads on a page is what its facts say; only for a page of this very program."""
    chart, mark = _CHART.search(document), _MARK.search(document)
    if chart is None:
        return False
    shown = Mark(b64decode(mark[2]), mark[1].decode()) if mark else None
    return html(facts, b64decode(chart[1]).decode(), shown) == document


def _digest(document: bytes) -> str:
    return hashlib.sha256(document).hexdigest()


def _section(title: str, inner: str) -> str:
    return f"<section><h2>{escape(title)}</h2>{inner}</section>"


def _pairs(rows: Sequence[Row]) -> str:
    if not rows:
        return ""
    if not rows[0][0]:
        return f"<p>{escape(rows[0][1])}</p>"
    return f"<dl>{''.join(f'<div><dt>{escape(k)}</dt><dd>{escape(v)}</dd></div>' for k, v in rows)}</dl>"


def _list(lines: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>" if lines else ""


def _cells(names: Row, row: Row) -> str:
    return "".join(f'<td data-of="{escape(name)}">{escape(cell)}</td>' for name, cell in zip(names, row, strict=True))


def _table(rows: Sequence[Row], kind: str = "") -> str:
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in rows[0])
    # on a phone a row is a card, and each cell says itself what it is
    body = "".join(f"<tr>{_cells(rows[0], row)}</tr>" for row in rows[1:])
    named = f' class="{kind}"' if kind else ""
    return f"<table{named}><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
