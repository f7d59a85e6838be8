"""The certificate as PDF and as a page, whatever people have written."""

import math
import re
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import typst
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from daemon.booking.kept import Bookings
from daemon.certificate import chart, page, paper
from daemon.certificate.facts import Action, Facts, Happened, Workshop
from daemon.certificate.gather import gather
from daemon.certificate.mark import Mark, read_mark
from daemon.certificate.sheet import words
from daemon.certificate.text import CAUTIONS, LEGAL, plain
from daemon.errors import BadFile, CertificateFailed
from daemon.store import Reader
from daemon.store.reader import CATALOG
from tests.daemon.certificate.conftest import FAILED, INCOMPLETE, PASSED

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="178mm" height="120mm"><rect width="10" height="10"/></svg>'
MARK = Mark(b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>', "svg")
NASTY = [
    '"]; #import "@preview/x:0.1.0": y',
    "#panic() $a^2$ *b* _c_ `d` @e <f> // /* \\ [ ] { }",
    "</script><script>alert(1)</script><img src=x onerror=alert(1)>",
    '" onload="alert(1)',
    "&lt;b&gt; &amp; ]]> -->",
    "無線機 🏔 \u202egnp.exe\u0000\r\n",
    "N" * 3000,
]
texts = st.text(max_size=400)
slow = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def nasty(test: Any) -> Any:
    """Each of them every time, beside whatever else is tried."""
    for text in NASTY:
        test = example(text=text)(test)
    return test


class Read(HTMLParser):
    """Which tags a page has, with which attributes, and what its h1 says."""

    def __init__(self, document: bytes) -> None:
        super().__init__()
        self.tags: list[tuple[str, tuple[str, ...]]] = []
        self.addresses: list[str] = []
        self.title = ""
        self._in_title = False
        self.feed(document.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note it."""
        self.tags.append((tag, tuple(name for name, _ in attrs)))
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "action", "data")]
        self._in_title = tag == "h1"

    def handle_data(self, data: str) -> None:
        """Note the title."""
        if self._in_title:
            self.title += data

    def handle_endtag(self, tag: str) -> None:
        """The title has an end."""
        self._in_title = False


def with_text(facts: Facts, text: str) -> Facts:
    """The facts with ``text`` wherever a person may have written something."""
    unit = facts.unit.model_copy(update={"unit": text or "x", "number": text, "kind": text, "serial": text})
    happened = [Happened(at_s=1.0, rule="supply", priority="trip", text=text)]
    actions = [Action(time_ns=0, rule="supply", change="acknowledged", person=text, note=text)]
    return facts.model_copy(
        update={
            "unit": unit,
            "workshop": Workshop(name=text[:80]),
            "reasons": [text, text],
            "happened": happened,
            "actions": actions,
            "plan": facts.plan.model_copy(update={"name": text}),
        }
    )


@given(text=texts)
@nasty
@slow
def test_no_text_breaks_the_paper(facts: Facts, text: str) -> None:
    """Whatever is written is set as text, on two pages at the most."""
    made = paper.pdf(with_text(facts, text), SVG, MARK)
    assert made.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type\s*/Page\b", made)) <= paper.PAGES


def test_a_character_without_a_font_is_told_of_and_the_paper_is_kept_for_ever(
    facts: Facts, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a machine without fonts of its own: a box, the word that it is one, and PDF/A all the same (ISO 19005-2)."""
    monkeypatch.setattr(paper, "fonts", lambda: typst.Fonts(include_system_fonts=False))
    odd = facts.model_copy(update={"unit": facts.unit.model_copy(update={"unit": "MR-25 無線機 no. 7"})})
    made = paper.pdf(odd, SVG)
    assert "MR-25 □□□ no. 7".encode() in made  # in its title, which is not packed
    for one in (made, paper.pdf(facts, SVG)):
        assert b"pdfaid:part" in one
    assert paper.given(paper.Content(odd, SVG, None, frozenset("無線機")), 1, 1)["not-printed"] == paper.NOT_PRINTED
    assert paper.given(paper.Content(odd, SVG, None), 1, 1)["not-printed"] == ""


@given(text=texts)
@nasty
@slow
def test_no_text_becomes_markup_on_the_page(facts: Facts, text: str) -> None:
    """The page has the tags that it has for a harmless text, and says what was written."""
    other = Read(page.html(with_text(facts, text), SVG, MARK))
    usual = Read(page.html(with_text(facts, "harmless"), SVG, MARK))
    # a line that says nothing is left out: it may take tags away, and never brings any
    assert set(other.tags) <= set(usual.tags)
    assert len(other.tags) <= len(usual.tags)
    if plain(text, 80):
        assert other.title == plain(text, 80)


@given(text=texts)
@nasty
@slow
def test_the_facts_come_out_of_the_page_as_they_went_in(facts: Facts, text: str) -> None:
    """Also where a text looks like the end of the block that holds them."""
    given_facts = with_text(facts, text)
    document = page.html(given_facts, SVG)
    assert page.facts_of(document) == given_facts
    assert page.intact(document)
    assert page.agrees(document, given_facts)


def test_an_uncertainty_without_end_is_told_and_comes_out_of_the_page(facts: Facts) -> None:
    """An SWR of which nothing is known is no number, and no reason to call the page changed."""
    figures = [f.model_copy(update={"expanded": math.inf}) if f.name == "swr_max" else f for f in facts.figures]
    endless = facts.model_copy(update={"figures": figures})
    document = page.html(endless, SVG)
    assert page.facts_of(document) == endless
    assert page.agrees(document, endless)
    assert "more than can be told" in document.decode()


@given(at=st.integers(0, 10**9), bit=st.integers(0, 7))
@slow
def test_a_flipped_bit_anywhere_is_found(facts: Facts, at: int, bit: int) -> None:
    """In the text, in the picture, in the facts, in the digest itself."""
    document = bytearray(page.html(facts, SVG))
    document[at % len(document)] ^= 1 << bit
    assert not page.intact(bytes(document))


def test_a_page_needs_nothing_from_elsewhere(facts: Facts) -> None:
    """All pictures are in it; no address leads out; nothing runs."""
    document = page.html(facts, SVG, MARK)
    read = Read(document)
    assert [a.split(",")[0] for a in read.addresses] == ["data:image/svg+xml;base64"] * 2
    assert b"@import" not in document
    assert b"url(" not in document
    assert [attrs for tag, attrs in read.tags if tag == "script"] == [("type", "id")]


@pytest.mark.parametrize("job", [PASSED, FAILED, INCOMPLETE])
def test_cautions_and_law_are_on_every_certificate(soaked: Path, job: int) -> None:
    """Power above the local limit is not for the air; local rules and licensed practice come first."""
    facts = gather(Reader(soaked), Bookings(soaked / CATALOG), job, Workshop())
    text = page.html(facts, SVG).decode()
    assert CAUTIONS in text
    assert LEGAL in text
    assert "not for the air" in LEGAL
    assert "licensed practice" in LEGAL
    assert f"<b>{facts.verdict.upper()}</b>" in text


def test_paper_and_page_say_the_same(facts: Facts) -> None:
    """Both are laid out from the same words; the paper leaves out no more than what has no room."""
    said = words(facts)
    text = page.html(facts, SVG).decode()
    for row in [*said.unit[1:], *said.plan, *said.figures[1:], *said.limits, *said.seal]:
        assert all(escape(cell) in text for cell in row)
    assert words(facts, most=1000) == said


def test_the_strip_chart_is_the_same_every_time_and_has_no_text_of_a_person(soaked: Path) -> None:
    """A vector drawing, made of what is kept alone; no two lines of a panel look the same."""
    reader = Reader(soaked)
    job, curves = reader.job(PASSED), reader.curves(PASSED, points=chart.POINTS)
    drawn = [chart.draw(curves, job.plan, 75.0, [chart.Mark(1, 30.0, True)]) for _ in range(2)]
    assert drawn[0] == drawn[1]
    assert drawn[0].startswith("<svg")
    assert "<image" not in drawn[0]
    assert job.unit not in drawn[0]
    for panel in chart.PANELS:
        looks = [(t.colour, t.dash) for t in panel.traces]
        assert len(set(looks)) == len(looks)


def test_a_mark_that_is_none_is_told_by_its_file(tmp_path: Path) -> None:
    """By its ending, by what is in it, by its size, or because it is not there."""
    for name, content in (
        ("mark.gif", b"GIF"),
        ("mark.png", b"<svg"),
        ("mark.svg", b" " * (1 << 20)),
        ("no.svg", None),
    ):
        if content is not None:
            (tmp_path / name).write_bytes(content)
        with pytest.raises(BadFile, match=name):
            read_mark(tmp_path / name)


def test_a_mark_that_can_not_be_drawn_fails_with_the_job_and_the_cause(facts: Facts) -> None:
    """An SVG by its first letters only: no certificate, and the reason."""
    with pytest.raises(CertificateFailed, match=f"job {PASSED}"):
        paper.pdf(facts, SVG, Mark(b"<svg", "svg"))
