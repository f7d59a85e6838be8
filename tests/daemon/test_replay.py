"""Replay: the same verdict as the live bay had, the contract's lines and exit statuses, and broken recordings."""

import json
from pathlib import Path
from typing import Any

import pytest

from daemon.demo.history import soak_instantly
from daemon.demo.world import BAD_LOAD, Unit
from daemon.export import export
from daemon.plan import Plan
from daemon.replay import FAIL, INCOMPLETE, PASS, replay, status
from daemon.store import Store
from sensors.errors import RecordingBroken

PLAN = """
[[phase]]
drive = "idle"
minutes = 0.5
[[phase]]
drive = "carrier"
minutes = 5
on_s = 40
off_s = 20
[[phase]]
drive = "off"
minutes = 0.5
"""


@pytest.fixture(scope="module")
def plan_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short plan."""
    path = tmp_path_factory.mktemp("plans") / "short.toml"
    path.write_text(PLAN)
    return path


def soaked(folder: Path, plan_file: Path, fault: str = "") -> tuple[Path, dict[str, Any]]:
    """One unit soaked in the twin's own time; its recording, and what the live bay made of it."""
    unit = Unit("bay-3", 5, "J-5", "MR-25 no. 014", fault=fault)
    with Store(folder) as store:
        soak_instantly(unit, store, 1_764_054_000 * 10**9, plan_file)
        store.flush()
        job = store.job(1)
    out = folder / "job.senml.zst"
    export(folder, 1, out)
    return out, {"verdict": job.verdict, "tags": [(t.time_ns, t.rule, t.event) for t in job.tags]}


def lines_of(recording: Path, plan: Plan) -> tuple[int, list[dict[str, Any]]]:
    """Replay to lines."""
    out: list[str] = []
    code = replay(recording, plan, out.append)
    return code, [json.loads(line) for line in out]


def test_a_healthy_recording_passes_with_the_figures_of_the_live_bay(tmp_path: Path, plan_file: Path) -> None:
    """One line, the verdict, and exit status 0."""
    recording, live = soaked(tmp_path, plan_file)
    code, lines = lines_of(recording, Plan.from_file(plan_file))
    assert (code, [line["verdict"] for line in lines]) == (PASS, ["pass"])
    assert live["verdict"] == "pass"
    assert lines[-1]["figures"]["heatsink_max_c"] > 25


def test_a_replay_says_what_the_live_bay_said_at_the_same_instants(tmp_path: Path, plan_file: Path) -> None:
    """The same rules, events and times as were kept live, in time order, then the verdict as the last line."""
    fault = BAD_LOAD.replace("at_s = 200", "at_s = 60")
    recording, live = soaked(tmp_path, plan_file, fault)
    code, lines = lines_of(recording, Plan.from_file(plan_file))
    said = [(round(line["t"] * 1e9), line["rule"], line["event"]) for line in lines[:-1]]
    assert [(rule, event) for _, rule, event in said] == [(r, e) for _, r, e in live["tags"]]
    assert [t for t, _, _ in said] == pytest.approx([t for t, _, _ in live["tags"]], abs=1e6)
    assert said[-1][2] == "trip"
    assert (code, lines[-1]["verdict"]) == (INCOMPLETE, live["verdict"])
    assert set(lines[0]) == {"t", "bay", "rule", "event", "priority", "value", "limit", "unit", "text"}
    assert set(lines[-1]) == {"bay", "verdict", "reasons", "figures"}


def test_other_limits_change_the_verdict(tmp_path: Path, plan_file: Path) -> None:
    """A heatsink limit under what the unit reached: the same recording fails."""
    recording, _ = soaked(tmp_path, plan_file)
    plan = Plan.from_toml(PLAN + "[limits]\nheatsink_c = 26.0\n")
    code, lines = lines_of(recording, plan)
    assert (code, lines[-1]["verdict"]) == (FAIL, "fail")
    assert lines[0]["rule"] == "over-temperature"


def test_a_recording_cut_in_mid_line_is_judged_up_to_there_and_named(tmp_path: Path, plan_file: Path) -> None:
    """Every whole pack counts, the verdict is incomplete, and the error has the line."""
    soaked(tmp_path, plan_file)
    export(tmp_path, 1, tmp_path / "plain.senml")
    whole = (tmp_path / "plain.senml").read_bytes()
    cut = tmp_path / "cut.senml"
    cut.write_bytes(whole[: len(whole) // 2])
    out: list[str] = []
    with pytest.raises(RecordingBroken) as caught:
        replay(cut, Plan.from_file(plan_file), out.append)
    assert caught.value.line == whole[: len(whole) // 2].count(b"\n") + 1
    verdict = json.loads(out[-1])
    assert verdict["verdict"] == "incomplete"
    assert verdict["figures"]["frames"] == caught.value.line - 1


@pytest.mark.parametrize("content", [b"", b"\n", b"not a pack\n", b'[{"n":"x","v":1}]\n'])
def test_what_is_no_recording_is_an_error_that_names_it(tmp_path: Path, plan_file: Path, content: bytes) -> None:
    """Empty, not JSON, or packs of no bay: the path is in the message."""
    path = tmp_path / "odd.senml"
    path.write_bytes(content)
    with pytest.raises(RecordingBroken, match=r"odd\.senml"):
        replay(path, Plan.from_file(plan_file), print)


def test_a_gap_in_a_recording_is_a_lost_link(tmp_path: Path, plan_file: Path) -> None:
    """Four seconds without a pack, key-down: the warning comes as it would have come live, then the trip."""
    soaked(tmp_path, plan_file)
    export(tmp_path, 1, tmp_path / "plain.senml")
    lines = (tmp_path / "plain.senml").read_text().splitlines(keepends=True)
    gap = tmp_path / "gap.senml"
    gap.write_text("".join(lines[:20] + lines[28:]))
    _, said = lines_of(gap, Plan.from_file(plan_file))
    assert [(line["rule"], line["event"]) for line in said[:3]] == [
        ("link-lost", "raised"),
        ("link-lost", "raised"),
        ("link-lost", "trip"),
    ]


@pytest.mark.parametrize(
    ("verdicts", "code"),
    [(["pass"], PASS), (["pass", "fail", "incomplete"], FAIL), (["pass", "incomplete"], INCOMPLETE)],
)
def test_the_exit_status_is_that_of_the_worst_bay(verdicts: list[str], code: int) -> None:
    """Fail before incomplete before pass."""
    assert status({str(i): v for i, v in enumerate(verdicts)}) == code
