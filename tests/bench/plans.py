"""Plans of the population, drawn at random."""

from random import Random
from typing import Any

from daemon.plan import Plan


def draw_plan(rng: Random, fault: str) -> tuple[Plan, float, str]:
    """A plan of 70 to 80 minutes that suits the fault; its main phase's share of key-down, and drive."""
    on_s, off_s = rng.choice([(30, 30), (60, 60), (60, 60), (120, 60), (60, 120), (300, 120)])
    cycles: dict[str, Any] = {"on_s": on_s, "off_s": off_s}
    kinds: list[dict[str, Any]] = [
        {"drive": "carrier", "minutes": rng.uniform(35, 50), **cycles},
        {"drive": "carrier", "minutes": rng.uniform(30, 45)},
        {"drive": "modulated", "minutes": rng.uniform(30, 45), **cycles},
        {"drive": "two-tone", "minutes": rng.uniform(30, 45), **cycles},
    ]
    if fault == "stuck-key":
        kinds = [kinds[0]]
    elif fault in ("fading-driver", "dry-pad"):
        kinds = kinds[:2] + kinds[3:]
    main = rng.choice(kinds[:2] * 3 + kinds)
    duty = on_s / (on_s + off_s) if "on_s" in main else 1.0
    phases = [
        {"drive": "off", "minutes": rng.uniform(1, 3)},
        {"drive": "idle", "minutes": rng.uniform(1.5, 4)},
        main,
    ]
    left = rng.uniform(70, 80) - sum(p["minutes"] for p in phases)
    if rng.random() < 0.5:
        lighter = {
            "carrier": ["carrier", "two-tone", "modulated"],
            "two-tone": ["two-tone"],
            "modulated": ["modulated"],
        }
        drive = rng.choice(lighter[main["drive"]])
        phases.append({"drive": drive, "minutes": left * 0.5, **cycles})
        left *= 0.5
    if rng.random() < 0.5:
        phases.append({"drive": "idle", "minutes": left * 0.3})
        left *= 0.7
    phases.append({"drive": "off", "minutes": left})
    return Plan.model_validate({"name": "trial", "phase": phases}), duty, main["drive"]
