"""What the logarithm of a drain current may answer to, before any data of this unit."""

from alerts.estimators.own_history import Answers

#: 1/K: a MOSFET's threshold falls 2 to 5 mV/K (memory), which with a fixed bias adds 1 to 2 % of idle current a kelvin;
#: a bias that is made to follow takes all of it back, or more; and in its first minutes the devices' own warming may
#: move it by some percent, which are no coefficient (common practice, no source)
IDLE_PER_K = Answers(0.004, 0.008, 0.003, ends=0.03)
DRIVE_PER_K = Answers(0.0, 0.002, 0.0004)
#: mean current of a class B stage goes with the root of its power (textbook); class A's not at all
PER_POWER = Answers(0.5, 0.15)
#: but power over all that this unit has given at this steady drive explains nothing: a bias that grows brings both. As
#: it cools it may give more: a radio may well sag by 0.3 dB over 30 K (common practice, no source), ln P by K
PER_POWER_STEADY = PER_POWER._replace(capped=0.0025)
PER_SUPPLY = Answers(0.0, 1.0)
