"""All rules, one file each. A new rule is a class in a file of its own and a line in ``ALL``."""

from collections.abc import Callable

from alerts.rules.bias_drift import BiasDrift
from alerts.rules.current_imbalance import CurrentImbalance
from alerts.rules.keying import Keying
from alerts.rules.link_lost import LinkLost
from alerts.rules.load_temperature import LoadTemperature
from alerts.rules.over_current import OverCurrent
from alerts.rules.over_temperature import OverTemperature
from alerts.rules.power_fade import PowerFade
from alerts.rules.reflected_power import ReflectedPower
from alerts.rules.sensor_fault import SensorFault
from alerts.rules.supply import Supply
from alerts.rules.thermal_forecast import ThermalForecast
from alerts.rules.thermal_runaway import ThermalRunaway
from alerts.types import Rule
from alerts.watch import Terms

#: every rule, in the order in which a frame is judged and a page lists them: the quickest harm first
ALL: tuple[Callable[[Terms], Rule], ...] = (
    Keying,
    OverCurrent,
    OverTemperature,
    ThermalRunaway,
    ThermalForecast,
    ReflectedPower,
    LoadTemperature,
    CurrentImbalance,
    BiasDrift,
    PowerFade,
    Supply,
    SensorFault,
    LinkLost,
)

#: what is watched while no soak runs: a radio that transmits unasked, and heat that is still there
BETWEEN_SOAKS = frozenset({Keying.name, OverTemperature.name})
