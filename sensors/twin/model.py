"""The radio itself: currents, power, supply and heat, moved on through time together."""

from math import exp, sqrt

from sensors.twin.batch import Build
from sensors.twin.device import CLASS_B_LIMIT, MOBILITY_EXPONENT, T0_K, conduct
from sensors.twin.faults import Condition
from sensors.types import Drive

#: Longest step of the integration. Every thermal stage is moved by its own exact exponential for constant
#: heat, so a step longer than the junction's time constant is stable and keeps every joule; what the step
#: limits is only how late the current hears of the temperature, and 0.25 s is below every sample time and
#: far below the heatsink's minutes.
STEP_S = 0.25

#: drive -> mean power over peak envelope power, and its envelope as (share of time, amplitude over peak).
#: Two equal tones: |cos|, mean exactly half of PEP (ITU Radio Regulations 1.157, 1.158). Modulated:
#: compressed speech on SSB, mean about a quarter of PEP (common practice, no source).
ENVELOPES: dict[Drive, tuple[float, tuple[tuple[float, float], ...]]] = {
    Drive.CARRIER: (1.0, ()),
    Drive.TWO_TONE: (0.5, ((0.25, 0.9808), (0.25, 0.8315), (0.25, 0.5556), (0.25, 0.1951))),
    Drive.MODULATED: (0.24, ((0.10, 1.0), (0.35, 0.6), (0.35, 0.2), (0.20, 0.0))),
}

#: What the driver can give over what full power needs when cold: some headroom, as any design has.
DRIVER_HEADROOM = 1.15
#: The output stage saturates this far above rated power at rated supply, and by the square of the voltage
#: below it.
SATURATION = 1.3
KNEE_V = 1.0
#: A silicon junction as hot as this is gone; the bond wire opens. Keeps a runaway's figures finite.
BURNT_C = 250.0


class Radio:
    """The state of one unit: temperatures in Cel, currents A, powers W; ``heat_j``, ``out_j`` count energy.

    Set ``key``, ``drive``, ``relay_open`` and ``condition``, then ``step``; the rest is to be read.
    """

    __slots__ = (
        "_latched",
        "_swing_v",
        "ambient_c",
        "bias_v",
        "build",
        "burnt",
        "case_c",
        "condition",
        "dissipation_w",
        "drain_a",
        "drive",
        "forward_w",
        "heat_j",
        "junction_c",
        "key",
        "load_c",
        "out_j",
        "peak_w",
        "reflected_w",
        "relay_open",
        "sink_c",
        "supply_v",
    )

    def __init__(self, build: Build) -> None:
        n = len(build.devices)
        self.build = build
        self.condition = Condition()
        self.key = False
        self.drive = Drive.OFF
        self.relay_open = False
        self.ambient_c = self.sink_c = self.load_c = build.ambient_c
        self.junction_c = [build.ambient_c] * n
        self.case_c = [build.ambient_c] * n
        self.drain_a = [0.0] * n
        self.bias_v = [0.0] * n
        self.burnt = [False] * n
        self.dissipation_w = [0.0] * n
        self.supply_v = build.supply_v
        self.forward_w = self.peak_w = self.reflected_w = 0.0
        self.heat_j = 0.0  # dissipated in the devices since the start
        self.out_j = 0.0  # left the heatsink into the air since the start
        self._swing_v = build.swing_v
        self._latched = False

    @property
    def keyed(self) -> bool:
        """Whether the radio transmits, whatever its node thinks."""
        return self.key or self._latched

    def step(self, dt_s: float) -> None:
        """Move on by ``dt_s`` seconds with key, drive and condition held."""
        if dt_s <= 0.0:
            self._electric()  # the key may have changed at this very instant
            return
        parts = int(dt_s / STEP_S - 1e-9) + 1
        part_s = dt_s / parts
        for _ in range(parts):
            self._electric()
            self._thermal(part_s)

    def _electric(self) -> None:
        """Currents and powers from the temperatures as they are."""
        on = self.condition
        self._latched = on.key_stuck and self.keyed
        keyed = (self.key or self._latched) and not self.relay_open
        driven = keyed and self.drive in ENVELOPES
        mean_over_peak, envelope = ENVELOPES[self.drive] if driven else (0.0, ())
        swing_v = self._swing_v if driven else 0.0
        build = self.build
        warmer_k = self.sink_c - 25.0
        bias_shift_v = on.bias_v + (on.bias_per_k - build.compensation_per_k) * warmer_k
        total_first_a = total_a = 0.0
        firsts = []
        for i, device in enumerate(build.devices):
            mean_a = first_a = 0.0
            bias_v = self.bias_v[i] = device.bias_v + bias_shift_v if keyed else 0.0
            if keyed and not on.opened[i] and not self.burnt[i]:
                junction_c = self.junction_c[i]
                k = device.k_a_per_v2 * (T0_K / (junction_c + 273.15)) ** MOBILITY_EXPONENT
                falls_v = device.threshold_per_k * (junction_c - 25.0)
                over_v = bias_v - device.threshold_v - on.threshold_v[i] + falls_v
                mean_a, first_a = conduct(k, over_v, swing_v)
                if envelope:
                    # A linear transmitter's output follows the envelope; a square-law device's current goes with the
                    # square of its drive, so the drive at each point is the root of the envelope.
                    mean_a = sum([share * conduct(k, over_v, swing_v * sqrt(e))[0] for share, e in envelope])
            self.drain_a[i] = mean_a
            firsts.append(first_a)
            total_first_a += first_a
            total_a += mean_a
        self._supply(total_a)
        peak_w = 0.0
        if driven and total_a > 0.0:
            peak_w = self._power(total_first_a, sum(self.drain_a), mean_over_peak)
        self.peak_w = peak_w
        self.forward_w = forward_w = peak_w * mean_over_peak
        gamma = min(build.gamma + on.gamma, 0.98)
        self.reflected_w = forward_w * gamma * gamma
        delivered_w = forward_w - self.reflected_w
        for i, first_a in enumerate(firsts):
            # What is lost in the output filter heats the same casting, so it is counted with the devices.
            share = first_a / total_first_a if total_first_a > 0.0 else 0.0
            self.dissipation_w[i] = self.supply_v * self.drain_a[i] - delivered_w * share

    def _supply(self, total_a: float) -> None:
        """The voltage at the radio under its current; a shorted device adds what it conducts by itself."""
        on = self.condition
        if self.relay_open:
            self.supply_v = 0.0
            return
        ohm = self.build.source_ohm + on.source_ohm
        shorts_s = [0.0 if burnt else short_s for short_s, burnt in zip(on.short_s, self.burnt, strict=False)]
        self.supply_v = max((self.build.supply_v + on.emf_v - ohm * total_a) / (1.0 + ohm * sum(shorts_s)), 0.1)
        for i, short_s in enumerate(shorts_s):
            self.drain_a[i] += short_s * self.supply_v

    def _power(self, total_first_a: float, total_a: float, mean_over_peak: float) -> float:
        """Peak envelope power at the socket; then the power control corrects the drive for the next step."""
        build = self.build
        headroom = max(self.supply_v - KNEE_V, 0.0) / (build.supply_v - KNEE_V)
        peak_w = min(
            build.watt_per_a2 * total_first_a * total_first_a,
            SATURATION * build.power_w * headroom * headroom,
            CLASS_B_LIMIT * self.supply_v * total_a / mean_over_peak,
        )
        fade_db = self.condition.driver_db
        target_w = build.power_w * (1.0 + build.power_per_k * (self.sink_c - 25.0))
        limit_v = build.swing_v * (DRIVER_HEADROOM if fade_db <= 0.0 else 10.0 ** (-fade_db / 40.0))
        # Power goes with about the fourth power of the drive; half of the correction a step settles without
        # overshoot.
        wanted_v = self._swing_v * (target_w / max(peak_w, 1e-3 * target_w)) ** 0.125
        self._swing_v = min(max(wanted_v, 0.2 * build.swing_v), limit_v)
        return peak_w

    def _thermal(self, dt_s: float) -> None:
        """Heat moves junction → case → heatsink → air; each by its exact exponential, no joule lost."""
        build, on = self.build, self.condition
        into_sink_w = 0.0
        for i, device in enumerate(build.devices):
            heat_w = self.dissipation_w[i]
            self.heat_j += heat_w * dt_s
            before_c = self.junction_c[i]
            end_c = self.case_c[i] + heat_w * device.junction_k_per_w
            after_c = end_c + (before_c - end_c) * exp(-dt_s / (device.junction_k_per_w * device.junction_j_per_k))
            self.junction_c[i] = after_c
            if after_c > BURNT_C:
                self.burnt[i] = True
            flow_w = heat_w - device.junction_j_per_k * (after_c - before_c) / dt_s
            k_per_w = device.case_k_per_w * on.case_factor[i]
            before_c = self.case_c[i]
            end_c = self.sink_c + flow_w * k_per_w
            after_c = end_c + (before_c - end_c) * exp(-dt_s / (k_per_w * device.case_j_per_k))
            self.case_c[i] = after_c
            into_sink_w += flow_w - device.case_j_per_k * (after_c - before_c) / dt_s
        k_per_w = build.sink_k_per_w * on.sink_factor
        before_c = self.sink_c
        end_c = self.ambient_c + into_sink_w * k_per_w
        self.sink_c = end_c + (before_c - end_c) * exp(-dt_s / (k_per_w * build.sink_j_per_k))
        self.out_j += into_sink_w * dt_s - build.sink_j_per_k * (self.sink_c - before_c)
        end_c = self.ambient_c + (self.forward_w - self.reflected_w) * build.load_k_per_w
        self.load_c = end_c + (self.load_c - end_c) * exp(-dt_s / (build.load_k_per_w * build.load_j_per_k))
