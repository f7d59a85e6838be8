"""What the sealed readings show is what the verdict was given by: two counts of one soak, by columns and by frames."""

from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from alerts.limits import Limits
from alerts.types import Situation
from alerts.verdict import Tally
from daemon.api.models import PhaseView, PlanView
from daemon.certificate.counted import Counted, count
from daemon.store import parquet
from sensors.types import CHANNELS, NAN, Drive, Frame, Quality

START_NS = 1_764_054_000 * 10**9
SAMPLE_S = 0.5
#: what a radio shows, asked so: its drain currents, A, and its forward power, W
SHOWS = {
    Drive.OFF: (0.02, 0.01, 0.0),
    Drive.IDLE: (0.25, 0.26, 0.0),
    Drive.CARRIER: (1.90, 1.88, 25.0),
}


class Part(NamedTuple):
    """A phase of a soak: so many readings of it, the key cycled or not, and which channels go missing in it."""

    drive: Drive
    readings: int
    cycled: bool
    lacks: frozenset[str] = frozenset()
    obeys: bool | None = True  # None: it stays keyed while it should rest


def plan_of(parts: list[Part]) -> PlanView:
    """The plan that asks for these."""
    phases, at_s = [], 0.0
    for part in parts:
        cycle_s = 3.0 if part.cycled and part.drive is not Drive.OFF else None
        end_s = at_s + part.readings * SAMPLE_S
        phases.append(PhaseView(drive=part.drive, start_s=at_s, end_s=end_s, on_s=cycle_s, off_s=cycle_s))
        at_s = end_s
    return PlanView(name="any", total_s=at_s, phases=phases)


def both(folder: Path, parts: list[Part], devices: int, word: bool) -> tuple[dict[str, float], Counted]:
    """One soak's figures, counted while it runs and from its file; ``word``: whether the node says ``key``."""
    tally = Tally(Limits(), SAMPLE_S)
    frames: list[Frame] = []
    for part, phase in zip(parts, plan_of(parts).phases, strict=True):
        for i in range(part.readings):
            at_s = phase.start_s + i * SAMPLE_S
            asked = part.drive is not Drive.OFF and not (phase.on_s and (at_s - phase.start_s) % 6.0 >= 3.0)
            keyed = part.drive is not Drive.OFF if part.obeys is None else asked and part.obeys
            one, two, forward_w = SHOWS[part.drive if keyed else Drive.OFF]
            given = {"heatsink": 40.0, "supply": 13.8, "drain-1": one, "forward": forward_w, "reflected": 0.05}
            given |= {"drain-2": two} if devices == 2 else {}
            given |= {"key": float(keyed)} if word else {}
            values = tuple(NAN if name in part.lacks else given.get(name, NAN) for name in CHANNELS)
            quality = bytes(
                Quality.MISSING if name not in given else Quality.OPEN if name in part.lacks else Quality.GOOD
                for name in CHANNELS
            )
            frame = Frame("bay-1", START_NS + round(at_s * 1e9), 1000.0 + at_s, len(frames), values, quality)
            frames.append(frame)
            tally.step(frame, Situation(soaking=True, key_asked=asked, drive=part.drive, sample_s=SAMPLE_S))
    path = folder / "job.parquet"
    path.write_bytes(b"".join(piece for piece, _ in parquet.pieces(frames, START_NS, {})))
    return tally.figures(), count(path, Limits(), plan_of(parts))


parts = st.builds(
    Part,
    st.sampled_from(list(SHOWS)),
    st.integers(1, 30),
    st.booleans(),
    st.frozensets(st.sampled_from(["key", "drain-1", "drain-2", "forward", "reflected", "supply"]), max_size=2),
    st.sampled_from([True, True, False, None]),
)


@example(soak=[Part(Drive.CARRIER, 9, False), Part(Drive.CARRIER, 9, False, frozenset({"key"}))], devices=2, word=True)
@example(soak=[Part(Drive.IDLE, 30, True, obeys=None)], devices=1, word=False)
@given(soak=st.lists(parts, min_size=1, max_size=4), devices=st.sampled_from([1, 2]), word=st.booleans())
@settings(max_examples=60)
def test_both_counts_of_any_soak_are_one(
    tmp_path_factory: pytest.TempPathFactory, soak: list[Part], devices: int, word: bool
) -> None:
    """Whatever is asked, obeyed, missing for a while, or never said by the node."""
    # one channel is never missing throughout: a file can't tell one that failed from one that was never there
    whole = [*soak, Part(Drive.OFF, 2, False)]
    figures, counted = both(tmp_path_factory.getbasetemp(), whole, devices, word)
    assert counted.readings == figures["frames"]
    assert counted.key_down_s == pytest.approx(figures["key_down_s"], abs=1e-3)
    assert counted.drawn_j == pytest.approx(figures["drawn_energy_j"], abs=1e-3)
    assert counted.load_j == pytest.approx(figures.get("rf_energy_j", 0.0), abs=1e-3)


@pytest.mark.parametrize("cycled", [False, True])
def test_idle_key_down_of_a_lone_drain_counts_without_the_nodes_word(tmp_path: Path, cycled: bool) -> None:
    """0.25 A is less than a whole radio may draw at rest: the plan that asked for it and the current tell."""
    plan = [Part(Drive.OFF, 20, False), Part(Drive.IDLE, 120, cycled)]
    plan.append(Part(Drive.OFF, 20, False))
    figures, counted = both(tmp_path, plan, devices=1, word=False)
    assert counted.key_down_s == pytest.approx(30.0 if cycled else 60.0)
    assert figures["key_down_s"] == pytest.approx(counted.key_down_s)
