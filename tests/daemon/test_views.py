"""What the API says of a live bay: the cone ahead of its trace, and the figures that the estimators know."""

from alerts.types import Finding
from daemon.api.cone import cone
from daemon.api.views import derived, figures
from daemon.bay import Bay
from daemon.plan import Plan
from daemon.soak import Begun, Ended, Waited
from sensors.intake import Intake
from sensors.lease import key_pack
from sensors.twin.instant import InstantBay
from sensors.twin.spec import UnitSpec
from sensors.types import LinkStats

START_NS = 1_764_000_000 * 10**9
PLAN = Plan.from_toml('[[phase]]\ndrive = "carrier"\nminutes = 40\n')


class TwinHand:
    """Keys and notes of a bay around a twin in its own time."""

    def __init__(self, twin: InstantBay) -> None:
        self.twin = twin

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Lend the twin its key."""
        self.twin.hear(key_pack(bay, lease_s, on=True, tone=tone))

    def unkey(self, bay: str) -> None:
        """Take it back."""
        self.twin.hear(key_pack(bay, 0.0, on=False))

    def cut(self, bay: str, opened: bool) -> None:
        """Cut the twin's supply."""

    def begin(self, begun: Begun) -> None:
        """No news."""

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """No news."""

    def wait(self, waited: Waited) -> None:
        """The plan stands still, or goes on."""

    def end(self, ended: Ended) -> None:
        """No news."""


def soaked(minutes: float) -> tuple[Bay, InstantBay]:
    """A healthy bay that has been key-down for so long."""
    twin = InstantBay(UnitSpec(bay="bay-1", seed=3, thermal_scale=0.5), START_NS)
    hand = TwinHand(twin)
    bay = Bay("bay-1", hand, hand, sample_s=0.5, tone=True)
    intake = Intake({"bay-1": {}}, LinkStats())
    for i in range(int(minutes * 120)):
        for frame in intake.feed(twin.advance(0.5), twin.clock_s, START_NS + int(twin.clock_s * 1e9)):
            bay.take(frame)
        if i == 4:
            bay.start(PLAN, twin.clock_s, START_NS)
    return bay, twin


def test_the_cone_begins_at_the_reading_and_holds_what_comes_true() -> None:
    """From now to the phase's end, widening, in order of time; the end of a healthy soak lies within it."""
    bay, twin = soaked(12)
    ahead = cone(bay, bay.judge.figures())
    assert bay.course
    assert bay.last
    assert ahead[0][0] == round(bay.course.elapsed_s, 1)
    assert ahead[0][1] == ahead[0][3] == round(bay.last.values[0], 2)
    assert ahead[-1][0] == PLAN.total_s
    widths = [high - low for _, low, _, high in ahead]
    assert widths == sorted(widths)
    assert [row[0] for row in ahead] == sorted(row[0] for row in ahead)
    later, _ = soaked(40)
    assert later.last
    assert ahead[-1][1] - 1.0 <= later.last.values[0] <= ahead[-1][3] + 1.0
    assert twin.clock_s < PLAN.total_s


def test_before_anything_is_known_there_is_no_cone_and_no_figure() -> None:
    """A bay that was just keyed."""
    bay, _ = soaked(0.1)
    known = bay.judge.figures()
    assert cone(bay, known) == []
    assert figures(bay, known).time_to_limit_s is None
    assert "heatsink_k_per_w" not in derived(known)


def test_what_the_estimators_know_has_its_unit_in_its_name() -> None:
    """Resistance, time constant and forecast of a bay in mid-soak, as finite numbers."""
    bay, _ = soaked(12)
    said = derived(bay.judge.figures())
    assert 0.5 < said["heatsink_k_per_w"] < 5
    assert said["heatsink_tau_s"] > 60
    assert 30 < said["forecast_peak_c"] < 75
