"""What each rule computes, its limits and its sources: data for ``keysoak explain`` and for a page."""

from typing import NamedTuple

from alerts.limits import Limits
from alerts.rules import ALL


class Explanation(NamedTuple):
    """One rule, as a technician may read it. ``limits`` are fields of ``Limits``: name, default, description."""

    rule: str
    computes: str
    limits: tuple[tuple[str, float, str], ...]
    sources: tuple[str, ...]


_PRACTICE = "common practice, no source"
_PAGE = "E. S. Page, Continuous inspection schemes, Biometrika 41 (1954); NIST/SEMATECH e-Handbook 6.3.2.3"
_JESD = "JESD51: T_J = T_ref + P·R_theta; the single-pole heating curve, as NIST StRD Misra1a and BoxBOD"

#: rule -> what it computes, its limits, its sources
_TOLD: dict[str, tuple[str, tuple[str, ...], tuple[str, ...]]] = {
    "keying": (
        "Whether key and radio agree: asked and no drain current; released and current or power still there "
        "(stuck key); key-down longer than the plan's.",
        (
            "rest_device_a",
            "rest_total_a",
            "rest_forward_w",
            "key_lag_s",
            "no_current_dwell_s",
            "stuck_key_dwell_s",
            "key_down_margin_s",
        ),
        (_PRACTICE,),
    ),
    "over-current": (
        "Each drain current, and their sum, against a limit; the shortest dwell of all.",
        ("total_a", "device_a", "over_current_dwell_s"),
        (_PRACTICE,),
    ),
    "over-temperature": (
        "Heatsink, case and, where R_theta is given, the hottest junction's estimate T_J = T_heatsink + P_D,i·R_theta "
        "against a limit, in two steps: a warning, then a trip. And how far a case stands over the heatsink for its "
        "device's heat, against this unit's own first minutes: a pad that dries or a screw that loosens.",
        (
            "heatsink_c",
            "heatsink_margin_c",
            "case_c",
            "case_margin_c",
            "junction_k_per_w",
            "junction_c",
            "junction_margin_c",
            "case_growth_ratio",
            "case_growth_c",
            "temperature_deadband_c",
            "temperature_dwell_s",
        ),
        (_JESD, _PRACTICE),
    ),
    "thermal-runaway": (
        "The electro-thermal loop gain G = V·(dI/dT)·R, from how this unit's current moves with its own heatsink "
        "at constant drive, times supply, times the fitted thermal resistance; judged by its lower confidence "
        "bound; under speech from the current at one loudness, and from the idle current in its pauses. At 1 and above "
        "no steady state exists. And, before any resistance is known, current and temperature that grow within one "
        "key-down without bending down: with one pole the curve bends upward only where the gain is over 1; or by "
        "more than any warming adds.",
        ("loop_gain_warning", "loop_gain"),
        (
            "stability of a conducting MOSFET, dP/dT < 1/R: P. Spirito et al., Thermal instabilities in high "
            "current power MOS devices, MIEL 2002; NASA/TM-2010-216684",
        ),
    ),
    "thermal-forecast": (
        "The heat balance C·dT/dt = P - (T - T_A)/R is fitted with the measured dissipation as input; from it the"
        " peak of the settled cycle with its band, and the time to the limit. Said when that peak is over the "
        "limit and cooling has become worse than this unit had it, or the limit is near; and once cooling has been "
        "seen under such heat.",
        ("heatsink_c", "forecast_dwell_s", "forecast_horizon_s", "forecast_reserve_s"),
        (_JESD,),
    ),
    "reflected-power": (
        "SWR = (1 + g)/(1 - g) with g² = P_r/P_f, under steady drive above a forward floor: the load, not the radio.",
        ("swr_warning", "swr", "swr_dwell_s", "drive_floor_w", "settle_s"),
        ("definition of the reflection coefficient, any textbook", _PRACTICE),
    ),
    "load-temperature": (
        "The dummy load's temperature against a limit, in two steps.",
        ("load_c", "load_margin_c", "temperature_deadband_c", "temperature_dwell_s"),
        (_PRACTICE,),
    ),
    "current-imbalance": (
        "The spread of the drain currents over their mean, apart at idle and under drive; and the growth of one "
        "device's share against this unit's own, its temperature and power taken out, by a bank of CUSUMs. At idle one "
        "step of the converter is no spread.",
        (
            "imbalance_warning_ratio",
            "imbalance_ratio",
            "imbalance_floor_a",
            "imbalance_idle_warning_ratio",
            "imbalance_idle_ratio",
            "imbalance_idle_floor_a",
            "imbalance_dwell_s",
            "imbalance_gross_dwell_s",
            "imbalance_growth_ratio",
            "drift_run_samples",
        ),
        (_PRACTICE, _PAGE),
    ),
    "bias-drift": (
        "What this unit's own history, temperature, power and supply do not explain of the drain current, at idle"
        " and under each drive; a bank of two-sided CUSUMs with decision intervals from a stated in-control run "
        "length, and a change worth a warning. Power beyond all that was learned explains nothing: a bias that grows "
        "brings both. Under steady drive also growth beyond the straight course that the current was on, and from the "
        "least that it has come down to; under speech the current at its usual loudness, and the idle current in its "
        "pauses, which is the least that is drawn while no power comes out.",
        ("bias_drift_idle_ratio", "bias_drift_drive_ratio", "drift_run_samples"),
        (_PAGE, "D. Siegmund, Sequential Analysis (1985), for the decision intervals"),
    ),
    "power-fade": (
        "Forward power in dB against this unit's own first key-down in the same drive, and against what its own "
        "sag with temperature, supply and driven time explains (CUSUM); and a fall that goes beyond the straight "
        "course that it was on, for what warming does only slows down. What may be the detector's steps is let be. Not "
        "judged under modulated drive.",
        ("fade_db", "fade_unexplained_db", "fade_settled_db", "fade_falling_db", "fade_dwell_s", "drift_run_samples"),
        (_PRACTICE, _PAGE),
    ),
    "supply": (
        "Supply voltage out of its band (low at rest is a warning, under load it unkeys); "
        "its fall under load against what it was at first; and the source resistance dV/dI at key edges.",
        (
            "supply_min_v",
            "supply_warning_min_v",
            "supply_warning_max_v",
            "supply_max_v",
            "supply_deadband_v",
            "supply_sag_v",
            "source_ohm",
            "supply_dwell_s",
        ),
        (_PRACTICE,),
    ),
    "sensor-fault": (
        "Open, shorted, out of range or missing; stuck (no noise any more, or no change under heat); off its "
        "heatsink: colder than four times the known cooling could make it, falling while its devices' cases do not, "
        "no longer answering to the heat that comes and goes, or not cooling down when it has gone.",
        (
            "sensor_min_c",
            "sensor_max_c",
            "sensor_min_a",
            "sensor_dwell_s",
            "stuck_sensor_s",
            "stuck_sensor_j",
        ),
        (_PRACTICE, "A. Wald, Sequential tests of statistical hypotheses (1945), for the answer to heat"),
    ),
    "link-lost": (
        "No pack within some sample times: a warning; within the lease: unkeyed.",
        ("silent_samples", "silent_min_s"),
        (_PRACTICE,),
    ),
}

#: every rule's name, in the order in which a frame is judged
NAMES: tuple[str, ...] = tuple(rule.name for rule in ALL)  # type: ignore[attr-defined]


def explain(rule: str) -> Explanation:
    """What a rule computes; KeyError for a name that is no rule's."""
    computes, names, sources = _TOLD[rule]
    fields = Limits.model_fields
    defaults = Limits()
    limits = tuple((name, float(getattr(defaults, name)), fields[name].description or "") for name in names)
    return Explanation(rule, computes, limits, sources)
