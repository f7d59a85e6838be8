"""The units of a batch: the same design, but no two alike. A seed draws one unit's parameters."""

from dataclasses import dataclass
from math import sqrt
from random import Random

from sensors.twin.device import conduct, swing_for
from sensors.twin.spec import UnitSpec

# The nominal design: a 25 W class mobile transceiver at 13.8 V with two small RF MOSFETs. Own numbers,
# chosen to be plausible together; no part's data. Temperature coefficients: a vertical MOSFET's threshold
# falls some mV/K (memory).
EFFICIENCY = 0.55  # RF at the socket over DC into the finals, harmonic filter and all
TOTAL_IDLE_A = 0.50
TOTAL_K_A_PER_V2 = 5.0
THRESHOLD_V = 2.9
THRESHOLD_PER_K = 0.0040
COMPENSATION_PER_K = 0.0033  # the bias network follows the heatsink down by this much
SINK_K_PER_W = 1.6  # 25 W at 55 % leave 20.5 W: 33 K above the air
SINK_TAU_S = 900.0
JUNCTION_K_PER_W = 1.3
CASE_K_PER_W = 0.45
JUNCTION_TAU_S = 0.30  # die and its lead frame as one lump
CASE_TAU_S = 3.5
LOAD_K_PER_W = 1.1
LOAD_TAU_S = 1200.0
SOURCE_OHM = 0.05
SENSOR_TAU_S = 6.0


@dataclass(frozen=True, slots=True)
class DeviceBuild:
    """One output device as fitted. Thermal masses in J/K, resistances in K/W; the bias is trimmed cold."""

    k_a_per_v2: float
    threshold_v: float
    threshold_per_k: float
    bias_v: float
    junction_k_per_w: float
    junction_j_per_k: float
    case_k_per_w: float
    case_j_per_k: float


@dataclass(frozen=True, slots=True)
class Build:
    """One unit as built: what never changes in it unless a fault does it."""

    devices: tuple[DeviceBuild, ...]
    compensation_per_k: float
    swing_v: float  # drive amplitude that gives full power when cold
    watt_per_a2: float  # forward power over the square of the summed fundamental current
    power_w: float  # what the radio's power control holds, cold
    power_per_k: float  # how it sags with the heatsink's temperature, a ratio per K
    supply_v: float
    source_ohm: float
    sink_k_per_w: float
    sink_j_per_k: float
    ambient_c: float
    gamma: float  # the sound load's reflection coefficient
    load_k_per_w: float
    load_j_per_k: float
    sensor_tau_s: float
    drain_gain: tuple[float, ...]  # what the node's shunts read over what flows
    power_gain: float
    heatsink_offset_c: float


def draw(spec: UnitSpec) -> Build:
    """The unit that this seed stands for: within a few percent of the design, as in a real batch."""
    rng = Random(f"keysoak build {spec.seed}")

    def near(nominal: float, ratio: float) -> float:
        # Cut at two sigma: a batch that has passed incoming inspection has no far outliers.
        return nominal * (1.0 + spec.spread * ratio * max(-2.0, min(2.0, rng.gauss())))

    n = spec.devices
    scale = spec.thermal_scale
    devices = []
    for _ in range(n):
        k = near(TOTAL_K_A_PER_V2 / n, 0.02)
        threshold_v = near(THRESHOLD_V, 0.03)
        # Whoever refits the finals sets the idle currents alike; what remains is the trimmer and the meter.
        idle_a = near(TOTAL_IDLE_A / n, 0.01)
        junction = near(JUNCTION_K_PER_W * n / 2, 0.04)
        case = near(CASE_K_PER_W * n / 2, 0.06)
        devices.append(
            DeviceBuild(
                k_a_per_v2=k,
                threshold_v=threshold_v,
                threshold_per_k=near(THRESHOLD_PER_K, 0.02),
                bias_v=threshold_v + sqrt(idle_a / k),
                junction_k_per_w=junction,
                junction_j_per_k=JUNCTION_TAU_S / junction * scale,
                case_k_per_w=case,
                case_j_per_k=CASE_TAU_S / case * scale,
            )
        )
    power_w = near(spec.power_w, 0.015)
    supply_v = spec.supply_v + 0.05 * spec.spread * rng.uniform(-1.0, 1.0)
    total_a = power_w / (near(EFFICIENCY, 0.02) * supply_v)
    swing_v = swing_for(TOTAL_K_A_PER_V2, sqrt(TOTAL_IDLE_A / TOTAL_K_A_PER_V2), total_a)
    first_a = sum(conduct(d.k_a_per_v2, d.bias_v - d.threshold_v, swing_v)[1] for d in devices)
    sink = near(SINK_K_PER_W, 0.03)
    load = near(LOAD_K_PER_W, 0.05)
    return Build(
        devices=tuple(devices),
        compensation_per_k=near(COMPENSATION_PER_K, 0.03),
        swing_v=swing_v,
        watt_per_a2=power_w / (first_a * first_a),
        power_w=power_w,
        power_per_k=near(-0.0006, 0.3),
        supply_v=supply_v,
        source_ohm=near(SOURCE_OHM, 0.2),
        sink_k_per_w=sink,
        sink_j_per_k=near(SINK_TAU_S, 0.03) / sink * scale,
        ambient_c=spec.ambient_c + spec.spread * rng.uniform(-1.0, 1.0),
        gamma=0.03 + 0.03 * min(spec.spread, 1.0) * rng.random(),
        load_k_per_w=load,
        load_j_per_k=LOAD_TAU_S / load * scale,
        sensor_tau_s=near(SENSOR_TAU_S, 0.1) * scale,
        drain_gain=tuple(near(1.0, 0.004) for _ in range(n)),
        power_gain=near(1.0, 0.008),
        heatsink_offset_c=0.3 * spec.spread * rng.uniform(-1.0, 1.0),
    )
