"""The heat balance ``C·dT/dt = P - (T - T_A)/R``, fitted recursively with the measured dissipation as input.

Nothing is differentiated. Energy and heat loss are summed from sample to sample; temperature, both sums and time are
averaged over the same samples of a block; and the differences between the averages of two neighbouring blocks obey

    ΔT̄ = (1/C)·ΔĒ - (1/(R·C))·ΔΘ̄ + (T_A/(R·C))·Δt̄

exactly (an integral of the balance with a triangular weight), so that noise and quantisation of the temperature average
out, and irregular sampling and lost packs do no harm. A sensor that lags behind the heatsink reads what a dissipation
that lags as much would give: so the balance is fitted for several lags at once, and the one that fits best speaks.
"""

from math import exp, inf, log, sqrt
from typing import NamedTuple

from alerts.estimators.recursive import Recursive

#: lags of cases and sensor together that are tried, s
LAGS_S = (0.0, 5.0, 10.0, 16.0, 23.0, 33.0)
#: samples without which a block says nothing, and blocks without which a fit does not
_LEAST_SAMPLES, _LEAST_BLOCKS = 3, 12
#: what the parameters may be before any data, as standard deviations: 1/C of 10 J/K, τ of 20 s: as good as anything
_PRIOR_PER_J_PER_K = 0.1
_PRIOR_PER_S = 0.05
#: how far an unmeasured air temperature may lie from the first heatsink reading (a radio may start warm), over a
#: time constant of some minutes: K/s
_PRIOR_AIR_K_PER_S = 5.0 / 800.0


class HeatFit(NamedTuple):
    """What the balance says: J/K, K/W, s, Cel; ``air_c`` is measured where it is measured, else fitted."""

    capacity_j_per_k: float
    k_per_w: float
    tau_s: float
    air_c: float
    capacity_sd: float
    k_per_w_sd: float
    tau_sd: float
    lag_s: float = 0.0

    def settled_c(self, dissipation_w: float) -> float:
        """The temperature that a constant dissipation leads to."""
        return self.air_c + self.k_per_w * dissipation_w

    def after_c(self, from_c: float, dissipation_w: float, seconds: float) -> float:
        """The temperature after so long at a constant dissipation."""
        end_c = self.settled_c(dissipation_w)
        return end_c + (from_c - end_c) * exp(-seconds / self.tau_s)

    def seconds_to(self, limit_c: float, from_c: float, dissipation_w: float) -> float:
        """How long until ``limit_c``; ``inf`` where it is never met."""
        end_c = self.settled_c(dissipation_w)
        if from_c >= limit_c:
            return 0.0
        return self.tau_s * log((end_c - from_c) / (end_c - limit_c)) if end_c > limit_c else inf


class HeatBalance:
    """Feed it every frame; ask for ``fit()`` whenever. ``memory_s`` is how far back it remembers.

    A sample without dissipation or temperature, or a step of more than ``gap_s``, ends the block: what nobody
    measured is not guessed.
    """

    __slots__ = (
        "_air_c",
        "_air_known",
        "_before",
        "_block_s",
        "_energy_j",
        "_gap_s",
        "_keep",
        "_lagged_w",
        "_last",
        "_loss_ks",
        "_n",
        "_rls",
        "_se",
        "_sl",
        "_st",
        "_stime",
        "_time_s",
        "blocks",
        "reference_c",
    )

    def __init__(self, *, block_s: float = 10.0, memory_s: float = 3600.0, gap_s: float = 10.0) -> None:
        self._block_s = block_s
        self._gap_s = gap_s
        self.reference_c = inf
        self._air_c = inf
        self._air_known = False
        self.blocks = 0
        self._rls = [
            Recursive(
                (0.0, 0.0, 0.0),
                (_PRIOR_PER_J_PER_K, _PRIOR_PER_S, _PRIOR_AIR_K_PER_S),
                noise_sd=0.1,
                floor_sd=0.002,
                keep=exp(-block_s / memory_s),
            )
            for _ in LAGS_S
        ]
        self._lagged_w = [0.0] * len(LAGS_S)
        self._keep = (0.0, [0.0] * len(LAGS_S))
        self._restart()

    def _restart(self) -> None:
        self._last: tuple[float, float] | None = None
        self._before: tuple[float, list[float], float, float] | None = None
        self._clear()

    def _clear(self) -> None:
        self._energy_j = [0.0] * len(LAGS_S)
        self._se = [0.0] * len(LAGS_S)
        self._loss_ks = self._time_s = 0.0
        self._n = 0
        self._st = self._sl = self._stime = 0.0

    def feed(self, clock_s: float, heatsink_c: float, dissipation_w: float, air_c: float) -> bool:
        """Take one sample; ``air_c`` is nan where no air temperature is measured. True when a block was fitted."""
        if not (heatsink_c == heatsink_c and dissipation_w == dissipation_w):  # noqa: PLR0124  nan
            return False
        if self.reference_c == inf:
            self.reference_c = heatsink_c
        if air_c == air_c:  # noqa: PLR0124  nan
            self._air_known = True
            self._air_c = air_c
        elif self._air_known:
            air_c = self._air_c
        else:
            air_c = self.reference_c
        over_k = heatsink_c - air_c
        last = self._last
        self._last = (clock_s, over_k)
        if last is None:
            return False
        dt_s = clock_s - last[0]
        if not 0.0 < dt_s <= self._gap_s:
            self._restart()
            self._last = (clock_s, over_k)
            return False
        if abs(dt_s - self._keep[0]) > 1e-3:
            self._keep = (dt_s, [1.0 - exp(-dt_s / lag_s) if lag_s > 0.0 else 1.0 for lag_s in LAGS_S])
        lagged, energy, sums = self._lagged_w, self._energy_j, self._se
        for i, share in enumerate(self._keep[1]):
            # the heat between two samples, by the trapezoid, as it reaches the sensor
            before_w = lagged[i]
            after_w = lagged[i] = before_w + (dissipation_w - before_w) * share
            energy[i] += 0.5 * (before_w + after_w) * dt_s
            sums[i] += energy[i]
        self._loss_ks += 0.5 * (over_k + last[1]) * dt_s
        self._time_s += dt_s
        self._n += 1
        self._st += heatsink_c
        self._sl += self._loss_ks
        self._stime += self._time_s
        if self._time_s < self._block_s or self._n < _LEAST_SAMPLES:
            return False
        return self._close()

    def _close(self) -> bool:
        n = self._n
        t, loss, time = self._st / n, self._sl / n, self._stime / n
        energies = [e / n for e in self._se]
        before = self._before
        # seen from the block's end, which is the next one's beginning: sums never grow without bound
        self._before = (
            t,
            [mean - whole for mean, whole in zip(energies, self._energy_j, strict=True)],
            loss - self._loss_ks,
            time - self._time_s,
        )
        self._clear()
        if before is None:
            return False
        free = 0.0 if self._air_known else time - before[3]
        for rls, mean, old in zip(self._rls, energies, before[1], strict=True):
            rls.learn((mean - old, before[2] - loss, free), t - before[0])
        self.blocks += 1
        return True

    def fit(self) -> HeatFit | None:
        """The balance, None until both C and R stand out of their uncertainty (three standard deviations)."""
        if self.blocks < _LEAST_BLOCKS:
            return None
        best = min(range(len(LAGS_S)), key=lambda i: self._rls[i].noise_sd)
        rls = self._rls[best]
        a, b, c = rls.theta
        p = rls.covariance
        if not (a > 3.0 * sqrt(p[0][0]) and b > 3.0 * sqrt(p[1][1])):
            return None
        ratio = a / b
        ratio_var = ratio * ratio * (p[0][0] / (a * a) + p[1][1] / (b * b) - 2.0 * p[0][1] / (a * b))
        air_c = self._air_c if self._air_known else self.reference_c + c / b
        return HeatFit(
            1.0 / a,
            ratio,
            1.0 / b,
            air_c,
            sqrt(p[0][0]) / (a * a),
            sqrt(max(ratio_var, 0.0)),
            sqrt(p[1][1]) / (b * b),
            LAGS_S[best],
        )
