"""One output device: what current a square-law MOSFET passes for a bias and a drive, and its heat."""

from math import acos, pi, sqrt

#: Mobility falls with absolute temperature to about the power 1.5 (lattice scattering, Sze, Physics of
#: Semiconductor Devices; from memory), and the square law's K with it.
MOBILITY_EXPONENT = 1.5
T0_K = 298.15

#: No model of ours may deliver more than pi/4 of its DC power
#: (the textbook limit of class B), whatever its drive.
CLASS_B_LIMIT = pi / 4


def conduct(k: float, u_v: float, swing_v: float) -> tuple[float, float]:
    """Mean drain current and the amplitude of its fundamental, both A.

    The device passes ``k·(u + swing·cos θ)²`` where the bracket is positive and nothing elsewhere; ``k`` in
    A/V², ``u_v`` the bias above the threshold, ``swing_v`` the amplitude of the drive at the gate. Closed
    form of the two Fourier integrals over the conduction angle (square law: any textbook of semiconductor
    devices).
    """
    if u_v >= swing_v:
        return k * (u_v * u_v + 0.5 * swing_v * swing_v), 2.0 * k * u_v * swing_v
    if u_v <= -swing_v:
        return 0.0, 0.0
    cosine = -u_v / swing_v
    angle = acos(cosine)
    sine = sqrt(1.0 - cosine * cosine)
    half = 0.5 * (angle + sine * cosine)
    mean = u_v * u_v * angle + 2.0 * u_v * swing_v * sine + swing_v * swing_v * half
    first = u_v * u_v * sine + 2.0 * u_v * swing_v * half + swing_v * swing_v * (sine - sine * sine * sine / 3.0)
    return k / pi * mean, 2.0 * k / pi * first


def swing_for(k: float, u_v: float, mean_a: float) -> float:
    """The drive amplitude, V, at which the device's mean current is ``mean_a`` (by bisection; monotone)."""
    low, high = 0.0, 100.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if conduct(k, u_v, middle)[0] < mean_a:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
