"""What a unit of the population does at a known temperature, so that plans and faults can be drawn to matter."""

from random import Random

from sensors.types import Drive
from tests.bench.state import World, Wrong
from tests.bench.twin_world import TwinWorld


def heat_w(world: World, drive: str) -> float:
    """What a unit turns into heat while keyed in this drive, on a heatsink that stays at 45 °C."""
    world.start(45.0, 45.0)
    total = 0.0
    for _ in range(120):
        state = world.step(1.0, True, Drive(drive), 45.0, Wrong())
        total += state.supply_v * sum(state.drain_a) - state.forward_w + state.reflected_w
    return total / 120


def per_v(world_seed: float, devices: int, power_w: float, drive: str) -> float:
    """How much current a volt of bias adds in this drive: the twin's power control takes part of it back."""
    cold_a, bias_v = 0.0, 0.0
    while True:
        world = TwinWorld(Random(world_seed), devices, power_w, 0.01, 1e5)
        world.start(45.0, 45.0)
        world.shift_v = bias_v
        for _ in range(40):
            state = world.step(1.0, True, Drive(drive), 45.0, Wrong())
        total_a = sum(state.drain_a)
        if bias_v and total_a - cold_a > 0.6:
            return (total_a - cold_a) / bias_v
        cold_a, bias_v = cold_a or total_a, bias_v * 1.5 or 0.05
