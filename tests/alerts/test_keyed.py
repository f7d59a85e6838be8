"""What a frame shows of the radio: at rest, keyed, idle, driven."""

from collections.abc import Callable
from typing import Any

import pytest

from alerts.keyed import Drains, Keyed, State, rest_a
from alerts.limits import Limits
from sensors.types import CHANNELS, INDEX, NAN, Frame, Quality


def frame(at_s: float, **channels: float | Quality) -> Frame:
    """A frame with these channels alone."""
    values, quality = [NAN] * len(CHANNELS), bytearray([Quality.MISSING] * len(CHANNELS))
    for name, value in channels.items():
        i = INDEX[name.replace("_", "-")]
        quality[i] = value if isinstance(value, Quality) else Quality.GOOD
        values[i] = NAN if isinstance(value, Quality) else value
    return Frame("bay-1", int(at_s * 1e9), at_s, -1, tuple(values), bytes(quality))


@pytest.mark.parametrize(
    ("channels", "state"),
    [
        ({"key": 0.0, "forward": 25.0}, State.RESTING),
        ({"key": 1.0, "forward": 0.2}, State.IDLE),
        ({"key": 1.0, "forward": 25.0}, State.DRIVEN),
        ({"key": 1.0}, State.KEYED),
        ({"key": 1.0, "forward": Quality.BELOW}, State.IDLE),
        ({"drain_1": 0.25, "drain_2": 0.25, "forward": 0.0}, State.IDLE),
        ({"drain_1": 0.02, "drain_2": 0.02, "forward": 0.0}, State.RESTING),
        ({"drain_1": 0.4, "forward": 0.0}, State.RESTING),
        ({"forward": 5.0}, State.DRIVEN),
        ({"heatsink": 40.0}, State.UNKNOWN),
    ],
)
def test_the_node_tells_and_where_it_does_not_current_and_power_do(
    channels: dict[str, float | Quality], state: State
) -> None:
    """The key word comes first; without one, drain current or forward power; without those, nothing is known."""
    assert Keyed(Limits()).look(frame(0.0, **channels)) is state


def test_a_lost_key_word_changes_nothing() -> None:
    """A node that has said key once is not guessed at when one pack lacks it."""
    keyed = Keyed(Limits())
    keyed.look(frame(0.0, key=1.0, forward=25.0))
    assert keyed.look(frame(0.5, forward=25.0)) is State.UNKNOWN
    assert keyed.keyed
    keyed.look(frame(1.0, key=1.0, forward=25.0))
    assert keyed.key_since_s == 0.0


def test_steady_takes_the_settling_time_and_a_second_sample() -> None:
    """A state is steady a second after its first sample, at a slow node with its second, never with its first."""
    for step_s, settled in ((0.5, [False, False, True, True]), (2.0, [False, True, True, True])):
        keyed = Keyed(Limits())
        seen = []
        for i in range(4):
            keyed.look(frame(i * step_s, key=1.0, forward=25.0))
            seen.append(keyed.steady(i * step_s))
        assert seen == settled


def test_a_bay_is_known_by_the_drain_channels_that_it_has_ever_had() -> None:
    """A drain that fails is still one that the radio has: its reading is nan, not absent."""
    drains = Drains()
    look: Callable[..., Any] = drains.look
    assert look(frame(0.0, drain_1=1.0)) == (1.0,)
    assert look(frame(0.5, drain_1=1.0, drain_3=2.0)) == (1.0, 2.0)
    assert str(look(frame(1.0, drain_1=1.0, drain_3=Quality.OPEN))) == "(1.0, nan)"
    assert str(look(frame(1.5, drain_1=1.0))) == "(1.0, nan)"


def test_what_counts_as_no_current_grows_with_the_devices() -> None:
    """0.1 A a device; a lone current, which may be the whole radio's, is given 1 A."""
    assert [round(rest_a(n, Limits()), 6) for n in (1, 2, 4)] == [1.0, 0.2, 0.4]


def test_a_first_sample_is_never_steady() -> None:
    """Not even where a plan sets the settling time to nothing."""
    keyed = Keyed(Limits(settle_s=0.0))
    keyed.look(frame(0.0, key=1.0, forward=25.0))
    assert not keyed.steady(0.0)
    keyed.look(frame(0.5, key=1.0, forward=25.0))
    assert keyed.steady(0.5)
