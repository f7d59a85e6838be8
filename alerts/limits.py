"""The limits of a soak: what the rules go by. Each has a default that serves a 25 W mobile unit at 13.8 V.

A plain name (``heatsink_c``) is where the bay is unkeyed; ``_warning`` or ``_margin`` says where a warning comes
before that, and a warning beyond its trip is taken at the trip. ``_dwell_s`` is how long a condition must last:
always two samples at the least. The defaults are common practice, no source, unless a line says otherwise.
"""

from pydantic import BaseModel, ConfigDict, Field


class Limits(BaseModel):
    """Every limit of every rule; a plan's ``[limits]`` names the ones that it changes."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    # all rules
    settle_s: float = Field(
        1.0, ge=0, description="time after a change of key or drive before match, balance and supply are judged"
    )
    off_delay_s: float = Field(5.0, ge=0, description="time back within bounds before an alert has returned to normal")

    # over-temperature
    heatsink_c: float = Field(75.0, gt=-20, le=200, description="heatsink temperature at which the bay is unkeyed")
    heatsink_margin_c: float = Field(5.0, ge=0, description="a warning comes this far under heatsink_c")
    case_c: float = Field(
        110.0, gt=-20, le=250, description="temperature at an output device at which the bay is unkeyed"
    )
    case_margin_c: float = Field(10.0, ge=0, description="a warning comes this far under case_c")
    junction_k_per_w: float = Field(
        0.0, ge=0, description="thermal resistance heatsink to junction of one device, for the estimate; 0 is not known"
    )
    junction_c: float = Field(
        150.0, gt=-20, le=400, description="estimated junction temperature of a device at which the bay is unkeyed"
    )
    junction_margin_c: float = Field(15.0, ge=0, description="a warning comes this far under junction_c")
    temperature_deadband_c: float = Field(
        2.0, ge=0, description="a temperature must fall this far under its limit to be normal again"
    )
    case_growth_ratio: float = Field(
        0.6, gt=0, description="growth of a case's stand over the heatsink for the same heat, for a warning"
    )
    case_growth_c: float = Field(4.0, gt=0, description="and no less than so many kelvin of growth")
    temperature_dwell_s: float = Field(2.0, ge=0, description="time over a temperature limit before it is said")

    # no limits: by what a soak's time at temperature is told (Arrhenius)
    activation_ev: float = Field(
        0.7,
        gt=0,
        le=3,
        description="activation energy, eV, of the wear that time at temperature is compared by: an assumption",
    )
    service_c: float = Field(
        40.0, gt=-50, le=200, description="heatsink temperature in service, to which time at temperature is converted"
    )

    # over-current
    total_a: float = Field(8.0, gt=0, description="sum of all drain currents at which the bay is unkeyed")
    device_a: float = Field(
        5.0,
        gt=0,
        description="drain current of one device at which the bay is unkeyed (not where drain-1 is the total)",
    )
    over_current_dwell_s: float = Field(0.5, ge=0, description="time over a current limit before it is said")

    # current-imbalance: spread of the drain currents over their mean
    imbalance_ratio: float = Field(0.25, gt=0, description="spread over mean under drive at which the bay is unkeyed")
    imbalance_warning_ratio: float = Field(0.18, gt=0, description="spread over mean under drive for a warning")
    imbalance_floor_a: float = Field(
        0.25, gt=0, description="mean current of a device under which balance under drive is not judged"
    )
    imbalance_idle_ratio: float = Field(0.35, gt=0, description="spread over mean at idle at which the bay is unkeyed")
    imbalance_idle_warning_ratio: float = Field(0.28, gt=0, description="spread over mean at idle for a warning")
    imbalance_idle_floor_a: float = Field(
        0.1, gt=0, description="mean current of a device under which balance at idle is not judged"
    )
    imbalance_dwell_s: float = Field(10.0, ge=0, description="time out of balance before it is said")

    imbalance_gross_dwell_s: float = Field(
        3.0, ge=0, description="time with a spread over twice imbalance_ratio before the bay is unkeyed"
    )
    imbalance_growth_ratio: float = Field(
        0.02, gt=0, description="growth of a device's share, over the mean, against this unit's own for a warning"
    )

    # bias-drift
    bias_drift_idle_ratio: float = Field(
        0.15, gt=0, description="change of the idle current that its temperature does not explain, for a warning"
    )
    bias_drift_drive_ratio: float = Field(
        0.015, gt=0, description="change of the current under drive that temperature, power and supply do not explain"
    )
    drift_run_samples: float = Field(
        1e5, ge=1e3, description="samples of a few seconds between two signals without cause (in-control run length)"
    )

    # power-fade
    fade_db: float = Field(0.5, gt=0, description="fall of forward power against this unit's own first key-down")
    fade_unexplained_db: float = Field(
        0.25, gt=0, description="fall of forward power that this unit's own warming does not explain"
    )
    fade_settled_db: float = Field(
        0.08, gt=0, description="the same at a heatsink temperature at which this unit's power is known already"
    )
    fade_falling_db: float = Field(
        0.05, gt=0, description="fall of forward power beyond the straight course that it was on"
    )
    fade_dwell_s: float = Field(5.0, ge=0, description="time with faded power before it is said")

    # thermal-forecast
    forecast_dwell_s: float = Field(20.0, ge=0, description="time with a forecast over heatsink_c before it is said")
    forecast_horizon_s: float = Field(
        300.0,
        ge=0,
        description="a forecast over heatsink_c is said when the limit is so near, or cooling has become worse",
    )
    forecast_reserve_s: float = Field(
        30.0, ge=0, description="time to heatsink_c under which the bay is unkeyed, once a warning stands"
    )

    # thermal-runaway
    loop_gain: float = Field(
        1.0, gt=0, description="electro-thermal loop gain, lower confidence bound, at which the bay is unkeyed"
    )
    loop_gain_warning: float = Field(0.7, gt=0, description="loop gain, lower confidence bound, for a warning")

    # load-temperature
    load_c: float = Field(130.0, gt=-20, le=400, description="dummy-load temperature at which the bay is unkeyed")
    load_margin_c: float = Field(15.0, ge=0, description="a warning comes this far under load_c")

    # reflected-power
    swr: float = Field(2.0, gt=1, description="standing wave ratio at which the bay is unkeyed")
    swr_warning: float = Field(1.6, gt=1, description="standing wave ratio for a warning")
    swr_dwell_s: float = Field(2.0, ge=0, description="time over a match limit before it is said")
    drive_floor_w: float = Field(
        1.0, gt=0, description="forward power under which the radio counts as not driven, and the match is not judged"
    )

    # supply: the trips are 13.8 V plus and minus 15 %
    supply_min_v: float = Field(11.7, gt=0, description="supply voltage under load below which the bay is unkeyed")
    supply_warning_min_v: float = Field(12.5, gt=0, description="supply voltage under load below which a warning comes")
    supply_warning_max_v: float = Field(15.0, gt=0, description="supply voltage for a warning")
    supply_max_v: float = Field(15.9, gt=0, description="supply voltage at which the bay is unkeyed")
    supply_deadband_v: float = Field(
        0.1, ge=0, description="how far within its band the supply must be to be normal again"
    )
    supply_sag_v: float = Field(
        0.8, gt=0, description="fall of the supply under load against what it was at first in the same drive"
    )
    source_ohm: float = Field(
        0.3, gt=0, description="source resistance, from the voltage lost at key edges, for a warning"
    )
    supply_dwell_s: float = Field(4.0, ge=0, description="time out of band before it is said")

    # keying
    rest_device_a: float = Field(0.1, gt=0, description="drain current of one device that still counts as none")
    rest_total_a: float = Field(
        1.0, gt=0, description="current at rest of a radio whose one current, drain-1, may be its total"
    )
    rest_forward_w: float = Field(0.5, gt=0, description="forward power that still counts as none")
    key_lag_s: float = Field(
        0.5, ge=0, description="time that a key word may take to the radio, beside one sample time"
    )
    no_current_dwell_s: float = Field(2.0, ge=0, description="time keyed without drain current before it is said")
    stuck_key_dwell_s: float = Field(
        1.0, ge=0, description="time with current or power after the key was taken back before the bay trips"
    )
    key_down_margin_s: float = Field(2.0, ge=0, description="time that a key-down may outlast the plan's")

    # sensor-fault
    sensor_min_c: float = Field(-20.0, description="lowest temperature that is believed")
    sensor_max_c: float = Field(130.0, description="highest temperature that is believed")
    sensor_min_a: float = Field(
        -0.5, le=0, description="lowest drain current that is believed: well under zero, the shunt is wired backwards"
    )
    sensor_dwell_s: float = Field(2.0, ge=0, description="time without a believable reading before it is said")
    stuck_sensor_s: float = Field(
        60.0, gt=0, description="a temperature is stuck only if exactly the same for this long ..."
    )
    stuck_sensor_j: float = Field(
        3000.0, gt=0, description="... while this much more, or less, heat went into the heatsink than before"
    )

    # link-lost
    silent_samples: float = Field(3.0, ge=2, description="sample times without a pack before a warning ...")
    silent_min_s: float = Field(1.0, ge=0, description="... and no less than this: a network may hand on in bursts")
