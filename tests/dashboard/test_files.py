"""The files that a page is made of: how they are served, and that what came from elsewhere is what it says it is."""

import hashlib
import re
from importlib.resources import files
from pathlib import Path

import httpx
import pytest

from dashboard.files import FOLDER, STYLES, Assets, assets, compiled_early
from dashboard.site import PLACES

#: plotly.js-basic-dist-min 4.1.1, MIT licence: DEVELOPERS.md says how a newer one is taken
CHARTS, CHARTS_SHA256 = "plotly-basic.min.js", "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"
_VERSION = re.compile(r"plotly\.js (?:\(basic - minified\) )?v([0-9.]+)")


def test_the_library_of_charts_is_what_was_published_and_of_the_version_that_dash_knows() -> None:
    """A part of the library that Python's plotly carries whole, as it was taken, with its licence beside it."""
    text = (FOLDER / CHARTS).read_bytes()
    assert hashlib.sha256(text).hexdigest() == CHARTS_SHA256
    whole = files("plotly").joinpath("package_data/plotly.min.js").read_text("utf-8")
    ours, theirs = _VERSION.search(text[:300].decode()), _VERSION.search(whole[:300])
    assert ours
    assert theirs
    assert ours[1] == theirs[1]
    assert "MIT License" in (FOLDER / "plotly-basic.LICENSE.txt").read_text()


def test_the_library_of_charts_is_sent_as_it_was_published_but_for_two_parentheses() -> None:
    """Around the function that has all of it; a library of another shape is left as it is."""
    kept, sent = (FOLDER / CHARTS).read_bytes(), assets().files[CHARTS].plain
    assert len(sent) == len(kept) + 2
    assert sent.replace(b"this, (() => {", b"this, () => {").replace(b"\n})));", b"\n}));") == kept
    assert compiled_early(b"window.Plotly = 1;") == b"window.Plotly = 1;"


def test_every_file_may_be_kept_for_good_below_the_root_of_today(page: httpx.Client) -> None:
    """The root changes with the files, so nobody is left with an old one."""
    own = assets()
    for name, file in own.files.items():
        answer = page.get(own.path(name))
        assert answer.status_code == 200
        assert answer.content == file.plain
        assert "immutable" in answer.headers["cache-control"]
    assert page.get(own.path("main.js")).headers["content-type"].startswith("text/javascript")
    assert page.get(own.path("main.js")).headers["content-encoding"] == "gzip"
    plain = page.get(own.path("main.js"), headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert plain.content == own.files["main.js"].plain


@pytest.mark.parametrize("root", ["/assets", "/assets/0123456789abcdef"])
def test_a_page_of_before_an_update_is_given_the_files_of_today_and_keeps_none(page: httpx.Client, root: str) -> None:
    """So is who asks without a root."""
    answer = page.get(f"{root}/main.js")
    assert answer.content == assets().files["main.js"].plain
    assert answer.headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("path", ["nothing.js", "../app.py", "..%2Fapp.py", "0123/main.js", ""])
def test_no_other_file_is_given_away(page: httpx.Client, path: str) -> None:
    """What is not in the folder is not there."""
    assert page.get(f"/assets/{path}").status_code == 404


def test_the_root_changes_with_any_file(tmp_path: Path) -> None:
    """By its text or its name."""
    for name in STYLES:
        (tmp_path / f"{name}.css").write_text(f".{name} {{}}")
    roots = {Assets(tmp_path).root}
    (tmp_path / "main.js").write_text("1")
    roots.add(Assets(tmp_path).root)
    (tmp_path / "main.js").write_text("2")
    roots.add(Assets(tmp_path).root)
    (tmp_path / "main.js").rename(tmp_path / "other.js")
    roots.add(Assets(tmp_path).root)
    assert len(roots) == 4
    assert Assets(tmp_path).files["all.css"].plain.startswith(b".tokens {}\n.page {}")


def test_every_style_is_part_of_the_one_file() -> None:
    """A new one is a word in STYLES, or nobody sees it."""
    assert {path.stem for path in FOLDER.glob("*.css")} == set(STYLES)


def test_a_page_names_every_module_that_it_needs_and_no_other_page_s() -> None:
    """A browser that is told of them all at once does not find them one after the other."""
    own = assets()
    for place in PLACES:
        first = [f"{part}.js" for part in (*place.parts, "main")]
        asked = set(first) | set(own.modules(first))
        for name in asked:
            text = own.files[name].plain.decode()
            assert set(re.findall(r'from "\./([^"]+)"', text)) <= asked, name
    assert "calibrations.js" not in own.modules(["rack.js", "main.js"])


def test_every_module_is_somebody_s() -> None:
    """One that no page loads is dead."""
    own = assets()
    classic = {"zone.js", "grid.js", "span.js", "charts-soon.js", "tick.js", CHARTS}
    first = {f"{part}.js" for place in PLACES for part in place.parts} | {"main.js"}
    used = first | set(own.modules(sorted(first))) | classic
    assert {name for name in own.files if name.endswith(".js")} == used


def test_only_pages_with_charts_load_what_draws_them(page: httpx.Client) -> None:
    """And they ask for it in their head, before all that Dash needs."""
    for path in ("/", "/jobs", "/alerts", "/bay/bay-1"):
        assert "charts-soon" not in page.get(path).text
    for path in ("/job/1", "/compare"):
        head = page.get(path).text.split("</head>")[0]
        assert "charts-soon" in head


def test_the_curves_come_with_the_page_of_their_job(page: httpx.Client) -> None:
    """Not by a question of their own after it."""
    page.get("/job/1")
    said = page.get("/_dash-layout", headers={"referer": str(page.base_url.join("/job/1"))}).text
    assert '"name":"heatsink"' in said
