"""Head lost to friction in pipes and small tubes, and whether they run laminar."""

from collections.abc import Callable
from enum import StrEnum
from math import log, pi

__all__ = [
    "KINEMATIC_VISCOSITY_20_C_M2_PER_S",
    "Loss",
    "Regime",
    "darcy",
    "darcy_factor",
    "hazen_williams",
    "regime",
]

Loss = Callable[[float], tuple[float, float]]
"""Of a flow >= 0 (m3/s): the head lost (m), and its slope (m per m3/s)."""

KINEMATIC_VISCOSITY_20_C_M2_PER_S = 1.00337e-6
"""Source: IAPWS SR6-08 and Tanaka et al. 2001 at 20 C."""

STANDARD_GRAVITY_M_PER_S2 = 9.80665  # exact by definition, 3rd CGPM (1901)
LAMINAR_BELOW, TURBULENT_ABOVE = 2000.0, 4000.0


class Regime(StrEnum):
    LAMINAR = "laminar"
    TRANSITION = "in transition"
    TURBULENT = "turbulent"


def regime(reynolds: float) -> Regime:
    """Of a pipe, by its Reynolds number; between 2000 and 4000 methods disagree by tens of per cent."""
    if reynolds < LAMINAR_BELOW:
        return Regime.LAMINAR
    return Regime.TURBULENT if reynolds > TURBULENT_ABOVE else Regime.TRANSITION


def darcy_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor (dimensionless) for reynolds > 0.

    Source: Hagen-Poiseuille, 64/Re, below 2000; Swamee and Jain (1976) above 4000; between them the cubic of
    Dunlop (1991) that joins both with their slopes, as in the EPANET 2 manual, appendix D (from memory, held to its
    results in the tests).
    """
    if reynolds < LAMINAR_BELOW:
        return 64.0 / reynolds
    if reynolds > TURBULENT_ABOVE:
        return _swamee_jain(reynolds, relative_roughness)
    y2 = relative_roughness / 3.7 + 5.74 / TURBULENT_ABOVE**0.9
    y3 = -0.86859 * log(y2)
    fa = y3**-2
    fb = fa * (2.0 - 0.00514215 / (y2 * y3))
    r = reynolds / LAMINAR_BELOW
    x4 = r * (0.032 - 3.0 * fa + 0.5 * fb)
    return float(
        (7.0 * fa - fb) + r * ((0.128 - 17.0 * fa + 2.5 * fb) + r * ((-0.128 + 13.0 * fa - 2.0 * fb) + x4))
    )


def darcy(
    length_m: float,
    bore_m: float,
    roughness_m: float,
    minor_k: float,
    viscosity_m2_per_s: float = KINEMATIC_VISCOSITY_20_C_M2_PER_S,
    gravity_m_per_s2: float = STANDARD_GRAVITY_M_PER_S2,
) -> Loss:
    """Darcy-Weisbach, and minor losses on the pipe's own velocity."""
    area = pi * bore_m**2 / 4
    by_square = 1 / (2 * gravity_m_per_s2 * area**2)
    reynolds_by_flow = bore_m / (area * viscosity_m2_per_s)
    length_in_bores, relative_roughness = length_m / bore_m, roughness_m / bore_m
    laminar = 64 * length_in_bores * by_square / reynolds_by_flow
    minor = minor_k * by_square

    def loss(flow: float) -> tuple[float, float]:
        reynolds = reynolds_by_flow * flow
        if reynolds < LAMINAR_BELOW:
            return (laminar + minor * flow) * flow, laminar + 2 * minor * flow
        if reynolds > TURBULENT_ABOVE:
            factor, change = _swamee_jain_with_slope(reynolds, relative_roughness)
        else:
            factor = darcy_factor(reynolds, relative_roughness)
            change = (darcy_factor(reynolds + 0.01, relative_roughness) - factor) / 0.01
        by_flow = (factor * length_in_bores + minor_k) * by_square * flow
        return by_flow * flow, 2 * by_flow + change * reynolds_by_flow * length_in_bores * by_square * flow**2

    return loss


def hazen_williams(
    length_m: float,
    bore_m: float,
    c: float,
    minor_k: float,
    gravity_m_per_s2: float = STANDARD_GRAVITY_M_PER_S2,
) -> Loss:
    """c: the Hazen-Williams coefficient, about 140 to 150 for plastic. Not for laminar flow, whatever it gives.

    Source: h = 10.67 L Q^1.852 / (C^1.852 D^4.871), SI.
    """
    pipe = 10.67 * length_m / (c**1.852 * bore_m**4.871)
    minor = minor_k / (2 * gravity_m_per_s2 * (pi * bore_m**2 / 4) ** 2)

    def loss(flow: float) -> tuple[float, float]:
        by_flow = pipe * flow**0.852
        return (by_flow + minor * flow) * flow, 1.852 * by_flow + 2 * minor * flow

    return loss


def _swamee_jain(reynolds: float, relative_roughness: float) -> float:
    return 1.3254745 / log(relative_roughness / 3.7 + 5.74 / reynolds**0.9) ** 2


def _swamee_jain_with_slope(reynolds: float, relative_roughness: float) -> tuple[float, float]:
    """The factor and its change by the Reynolds number."""
    smooth = 5.74 / reynolds**0.9
    inside = relative_roughness / 3.7 + smooth
    logarithm = log(inside)
    factor = 1.3254745 / (logarithm * logarithm)
    return factor, 1.8 * factor * smooth / (reynolds * inside * logarithm)
