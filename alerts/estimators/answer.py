"""Does a temperature answer to the heat that goes in, as it did before and as any heatsink must?

Three signs, none of which needs a heatsink to be what it was: a temperature that falls faster than four times the known
cooling could pull it; one that no longer moves with the dissipation as it used to; one whose noise has gone.
"""

from collections import deque
from math import exp, nan, sqrt

#: no fan, door or breeze cools this much better than what was learned; and no less than that part of the heat counts
FASTEST, _LEAST_HEAT = 4.0, 0.6
#: how far a path must be undercut, K, beside its own noise
_MARGIN_K = 2.5
_ANCHORS = 12
#: memory of the running means of the response, s
_MEMORY_S = 120.0
#: what counts as an answer, as a part of the full one: a fan that runs with the key may well take half of it
_ANSWERS = 0.6
#: how well this unit answers within a block is learned from its first blocks that tell, so many of them, beside so many
#: kelvin squared of a full answer, and not while one is missed by more than this sum: where a long heatsink, a far
#: sensor or a slow power meter takes most of it away, there is less to be missed
_LEARNS, _FULL_K2, _MISSED = 60, 0.5, 4.0
#: an answer that comes late, through a dry pad, is one: its log likelihood ratio against none over the last blocks
_LATE, _LATE_KEPT = 4.0, 0.92
#: doubt about the model, as a part of the expected movement: cases, sensor and fan shift some of it to the next block
_MODEL = 0.25
#: what one block may add, and the sum at which no answer is taken for certain: e⁻¹² against it, six blocks at the least
_MOST, _LOST = 2.0, 12.0
#: expected movement in all, K, under which a model that is a little wrong may look like no answer
_SEEN_K = 2.0
#: what is left of a suspicion after each block that tells nothing
_FORGETS = 0.995
_NOISE_K, _LEAST_NOISE_K = 0.05, 0.02
#: expected movement of a block that tells anything, K; and what its heat must differ by from that of the last seconds,
#: as a part of it: a heatsink answers a change of heat, while how it goes on warming up is a matter of its model alone
_TELLS_K, _CHANGE, _RECENT_S = 0.06, 0.15, 40.0


class Falls:
    """Whether the temperature has left every path that a heatsink could take, however well it is cooled."""

    __slots__ = ("_count", "_paths", "fallen_k")

    def __init__(self) -> None:
        self._paths: deque[float] = deque(maxlen=_ANCHORS)
        self._count = 0
        self.fallen_k = 0.0

    def feed(
        self,
        seconds: float,
        heatsink_c: float,
        dissipation_w: float,
        *,
        least_air_c: float,
        tau_s: float,
        k_per_w: float,
    ) -> bool:
        """Take one block mean; True when it lies under the slowest path of two blocks running."""
        keep = exp(-FASTEST * seconds / tau_s)
        end_c = least_air_c + _LEAST_HEAT * max(dissipation_w, 0.0) * k_per_w / FASTEST
        paths = self._paths
        for i in range(len(paths)):
            paths[i] = end_c + (paths[i] - end_c) * keep
        # a path that starts from a spike is no path: the highest but one
        highest = sorted(paths)[-2] if len(paths) > 2 else heatsink_c
        self.fallen_k = highest - heatsink_c
        out = self.fallen_k > _MARGIN_K
        self._count = self._count + 1 if out else 0
        if not out:
            paths.append(heatsink_c)
        return self._count >= 2

    def restart(self) -> None:
        """Forget all paths: something was not seen."""
        self._paths.clear()
        self._count = 0


class Response:
    """Whether the temperature still moves with the heat: a sequential test of "it answers" against "it does not".

    Movement and expected movement are taken about their own running means, so that slow cooling, a fan or a door don't
    count. What is expected is told twice, with the known cooling and without any, and the milder of both counts. Each
    block adds its log likelihood ratio for no answer against ``_ANSWERS`` of the answer that this unit gives (Wald
    1945; as a CUSUM, Page 1954), bounded, so that no one block decides.
    """

    __slots__ = (
        "_bare",
        "_cooled",
        "_late",
        "_late_score",
        "_learned",
        "_moved",
        "_noise",
        "_recent",
        "_sxx",
        "_sxy",
        "_weight",
        "score",
        "seen_k",
    )

    def __init__(self) -> None:
        self._bare = self._cooled = self._moved = self._weight = 0.0  # running means
        self._late = self._late_score = 0.0
        self._recent = 0.0  # what the heat alone should have moved it by in the last blocks
        self._noise = _NOISE_K * _NOISE_K
        self._sxx = self._sxy = _FULL_K2
        self._learned = 0
        self.score = 0.0
        self.seen_k = 0.0  # expected movement, summed over the blocks since the score was last zero

    def feed(
        self,
        seconds: float,
        expected_k: float,
        cooled_k: float,
        moved_k: float,
        *,
        late_k: float = 0.0,
        step_k: float = 0.0,
        unsure_k: float = 0.0,
    ) -> bool:
        """Take one block; True when the answer is lost.

        ``expected_k`` is how far the heat alone should have moved the temperature, ``cooled_k`` how far with the known
        cooling, ``late_k`` the same of heat that comes a minute late; ``moved_k`` how far it moved, read in steps of
        ``step_k``. ``unsure_k`` is the standard deviation of what is expected: speech is another at each sample, and
        between two of them nobody knows.
        """
        changed_k, most_k = abs(expected_k - self._recent), max(abs(expected_k), abs(self._recent))
        self._recent += (expected_k - self._recent) * min(seconds / _RECENT_S, 1.0)
        self._weight = self._weight * exp(-seconds / _MEMORY_S) + 1.0
        share = 1.0 / self._weight
        bare, cooled, dy = expected_k - self._bare, cooled_k - self._cooled, moved_k - self._moved
        late = late_k - self._late
        self._late += late * share
        self._bare += bare * share
        self._cooled += cooled * share
        self._moved += dy * share
        if self._weight < 6.0:
            return False
        unsure_k2 = unsure_k * unsure_k
        self._late_score = self._late_score * _LATE_KEPT - self._says(late, dy, unsure_k2)
        # a difference of two readings in steps: a variance of q²/12 each (Bennett 1948; from memory)
        self._noise = max(self._noise, step_k * step_k / 6.0)
        if changed_k < _CHANGE * most_k or min(abs(bare), abs(cooled)) < max(_TELLS_K, 2.0 * sqrt(self._noise)):
            # too little heat came or went to tell; and what is suspected is slowly forgotten
            self.score *= _FORGETS
            return self._lost
        self.score += min(self._says(bare, dy, unsure_k2), self._says(cooled, dy, unsure_k2))
        if self._learned < _LEARNS and self.score < _MISSED:
            self._learned += 1
            self._sxx += cooled * cooled
            self._sxy += cooled * cooled * min(max(dy / cooled, 0.0), 2.0)
        if self.score <= 0.0:
            self.score = self.seen_k = 0.0
            size = min((dy - cooled) ** 2, 9.0 * self._noise)
            self._noise += 0.02 * (size - self._noise)
            self._noise = max(self._noise, _LEAST_NOISE_K**2)
        else:
            self.seen_k += abs(bare)
        self.score = min(self.score, 2.0 * _LOST)
        return self._lost

    @property
    def _lost(self) -> bool:
        return self.score > _LOST and self.seen_k > _SEEN_K and self._late_score < _LATE

    def _says(self, dx: float, dy: float, unsure_k2: float) -> float:
        off = dy - _ANSWERS * min(max(self._sxy / self._sxx, 0.0), 1.0) * dx
        doubt = 2.0 * (self._noise + (_MODEL * dx) ** 2 + unsure_k2)
        return max(-_MOST, min(_MOST, (off * off - dy * dy) / doubt))


class Noise:
    """Whether a reading has lost a noise that it always had: exactly the same for longer than that noise lets it.

    Only reversals of two of the converter's steps or more count as noise: a reading that flickers between two
    neighbours is at the edge of a step, and in the middle of the next one it may stand still for long. The step is the
    smallest one seen lately: through a divider it widens with temperature. ``stands_long`` is for readings with little
    noise: it stands still for many times longer than ever before, which by itself may be a heatsink that has settled.
    """

    __slots__ = ("_before", "_last", "_longest", "_noisy", "_seen", "_step", "_stood_s", "same", "since_s")

    _SHARE = 0.01
    #: noise that jumps two steps so often is half a step wide: it leaves the middle of a step once in three samples
    _LEAST = 0.1
    _WIDENS = 1.01
    #: and never before has it stood still for a sixth as long
    _TIMES = 6
    #: and without such noise, after so many readings, for a twelfth as long, and this time, s
    _SEEN, _FAR, _FAR_S = 300, 12, 60.0

    def __init__(self) -> None:
        self._last = nan
        self._before = self._noisy = 0.0
        self._longest = self._seen = 0
        self._step = 1e9
        self.same = 0
        self.since_s = self._stood_s = 0.0

    def feed(self, clock_s: float, value: float) -> bool:
        """Take one reading under the same state of the radio; True when it has stood still for too long."""
        d = value - self._last
        self._last = value
        self._seen += 1
        if d != d:  # noqa: PLR0124  nan: the first of its state
            return False
        if d == 0.0:
            if self.same == 0:
                self.since_s = clock_s
            self.same += 1
            self._stood_s = clock_s - self.since_s
            long = self.same >= max(100, self._TIMES * self._longest) and self._stood_s >= 30.0
            return self._noisy > self._LEAST and long
        size = abs(d)
        self._step = min(max(size, 1e-6), self._step * self._WIDENS)
        wide = d * self._before < 0.0 and max(size, abs(self._before)) > 1.5 * self._step
        self._noisy += self._SHARE * (float(wide) - self._noisy)
        self._before = d
        self._longest = max(self._longest, self.same)
        self.same = 0
        return False

    @property
    def stands_long(self) -> bool:
        """Whether it stands still for far longer than it ever did while it was watched."""
        return (
            self._seen > self._SEEN
            and self.same >= max(100, self._FAR * self._longest)
            and self._stood_s >= self._FAR_S
        )

    def restart(self) -> None:
        """The radio's state has changed: what stood still before says nothing, nor how far it has moved since."""
        self.same = 0
        self._last = nan
        self._before = 0.0
