"""Power, voltage and match on a line, and how mean, carrier and peak envelope power hang together.

Peak envelope, mean and carrier power are those of the ITU Radio Regulations, Nos. 1.157 to 1.159.
"""

import math

Z0_OHM = 50.0

#: No SWR from less forward power than this: the reflected reading would be the detector's floor (practice).
FORWARD_FLOOR_W = 0.5


def dbm_from_w(watt: float) -> float:
    """dBm; -inf for no power. Raises ValueError for a negative one."""
    return 10.0 * math.log10(watt) + 30.0 if watt else -math.inf


def w_from_dbm(dbm: float) -> float:
    """Watts."""
    return float(10.0 ** (dbm * 0.1 - 3.0))


def w_from_peak_v(volts: float, z0_ohm: float = Z0_OHM) -> float:
    """``V**2 / (2 * Z0)``: the power of a sine with this peak voltage, or of an envelope at this height."""
    return volts * volts / (2.0 * z0_ohm)


def w_from_rms_v(volts: float, z0_ohm: float = Z0_OHM) -> float:
    """``V**2 / Z0``."""
    return volts * volts / z0_ohm


def peak_v_from_w(watt: float, z0_ohm: float = Z0_OHM) -> float:
    """The sine's peak voltage."""
    return math.sqrt(2.0 * z0_ohm * watt)


def rms_v_from_w(watt: float, z0_ohm: float = Z0_OHM) -> float:
    """The sine's effective voltage."""
    return math.sqrt(z0_ohm * watt)


def gamma(forward_w: float, reflected_w: float, floor_w: float = FORWARD_FLOOR_W) -> float:
    """``|Γ| = sqrt(P_r/P_f)``; nan under the forward floor or where either is nan.

    A reflected reading under 0 is a detector's noise about no reflection, and counts as 0.
    """
    if not (forward_w >= floor_w and forward_w > 0) or math.isnan(reflected_w):
        return math.nan
    return math.sqrt(reflected_w / forward_w) if reflected_w > 0 else 0.0


def swr(forward_w: float, reflected_w: float, floor_w: float = FORWARD_FLOOR_W) -> float:
    """The standing-wave ratio; nan as for ``gamma``, inf when all the power comes back (or more is read)."""
    return swr_from_gamma(gamma(forward_w, reflected_w, floor_w))


def return_loss_db(forward_w: float, reflected_w: float, floor_w: float = FORWARD_FLOOR_W) -> float:
    """``10*log10(P_f/P_r)``; nan as for ``gamma``, inf for no reflection."""
    return return_loss_from_gamma_db(gamma(forward_w, reflected_w, floor_w))


def swr_from_gamma(magnitude: float) -> float:
    """``(1 + |Γ|) / (1 - |Γ|)``; inf from 1 on."""
    return math.inf if magnitude >= 1.0 else (1.0 + magnitude) / (1.0 - magnitude)


def gamma_from_swr(ratio: float) -> float:
    """``(S - 1) / (S + 1)``; 1 for an infinite ratio."""
    return 1.0 if ratio == math.inf else (ratio - 1.0) / (ratio + 1.0)


def return_loss_from_gamma_db(magnitude: float) -> float:
    """``-20*log10(|Γ|)``; inf for no reflection."""
    return math.inf if magnitude == 0 else -20.0 * math.log10(magnitude)


def mismatch_loss_db(magnitude: float) -> float:
    """``-10*log10(1 - |Γ|**2)``: what the mismatch keeps from the load; inf from 1 on."""
    return math.inf if magnitude >= 1.0 else -10.0 * math.log10(1.0 - magnitude * magnitude)


def am_peak_over_carrier(depth: float) -> float:
    """Peak envelope over carrier power of single-tone AM of depth 0 to 1: ``(1 + m)**2``."""
    return (1.0 + depth) ** 2


def am_mean_over_carrier(depth: float) -> float:
    """Mean over carrier power of single-tone AM of depth 0 to 1: ``1 + m**2/2``."""
    return 1.0 + depth * depth / 2.0


def tones_peak_over_mean(tones: int) -> float:
    """Peak envelope over mean power of ``tones`` equal tones with no carrier, once in phase: their number."""
    return float(tones)


def keyed_peak_over_mean(duty: float) -> float:
    """Peak envelope over mean power of a carrier keyed for a share ``duty`` (above 0, up to 1) of the time."""
    return 1.0 / duty
