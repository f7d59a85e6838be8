"""The faults of the population: who names them rightly, and what is harm."""

#: fault -> the rules that rightly name it, and whether it harms when nobody calls it
FAULTS: dict[str, tuple[frozenset[str], bool]] = {
    "runaway": (frozenset({"thermal-runaway"}), True),
    "fan-stop": (frozenset({"thermal-forecast", "over-temperature"}), True),
    "creep-both": (frozenset({"bias-drift"}), False),
    "creep-one": (frozenset({"current-imbalance", "bias-drift"}), False),
    "fading-driver": (frozenset({"power-fade"}), False),
    "dry-pad": (frozenset({"current-imbalance", "over-temperature"}), False),
    "open-device": (frozenset({"current-imbalance", "power-fade"}), False),
    "shorted-device": (frozenset({"over-current", "keying", "current-imbalance"}), False),
    "bad-load": (frozenset({"reflected-power"}), False),
    "sagging-supply": (frozenset({"supply"}), False),
    "stuck-key": (frozenset({"keying"}), True),
    "detached": (frozenset({"sensor-fault"}), False),
    "stuck-sensor": (frozenset({"sensor-fault"}), False),
    "open-sensor": (frozenset({"sensor-fault"}), False),
}
#: what needs two devices, each with its own reading
NEEDS_PAIR = frozenset({"creep-one", "dry-pad", "open-device"})
BEYOND = {"shorted-device", "stuck-key", "open-sensor"}
#: what is drawn anew until it meets the fixed limit of the heatsink
MATTERS, LIMIT_C = frozenset({"runaway", "fan-stop"}), 75.0
#: harm: the heatsink or a junction beyond this, whatever a sensor says; common practice, no source
HARM_SINK_C, HARM_JUNCTION_C = 90.0, 175.0
