"""The lined tray under the pots: how high the water stands in it while the pump runs."""

from dataclasses import dataclass
from math import pi, sqrt

from waaler.bed.friction import STANDARD_GRAVITY_M_PER_S2

__all__ = ["Tray"]

ORIFICE = 0.6
"""Discharge coefficient of a sharp-edged drain. Source: textbooks, 0.60 to 0.62 (from memory)."""

FREE_SHARE = 0.66
"""Of the tray's area that water may fill: pots stand on the rest. Common practice, no source; the worked case of
tests/reference/volumes.yaml has 75.8 of 115.2 litres."""


@dataclass(frozen=True, slots=True)
class Tray:
    """standing_m: depth that stays below the drain. rim_m: depth at which it spills."""

    length_m: float
    width_m: float
    drain_bore_m: float
    standing_m: float
    rim_m: float

    @property
    def rim_l(self) -> float:
        """Water above the standing level when it spills."""
        return self._litres(self.rim_m - self.standing_m)

    @property
    def most_l_per_min(self) -> float:
        """What the drain lets through with the water at the rim; Torricelli's law with a discharge coefficient."""
        head_m = self.rim_m - self.standing_m
        return 60_000 * ORIFICE * self._drain_m2 * sqrt(2 * STANDARD_GRAVITY_M_PER_S2 * head_m)

    def depth_m(self, inflow_l_per_min: float) -> float:
        """How high it stands where inflow and drain are even; above rim_m it spills."""
        velocity = inflow_l_per_min / 60_000 / (ORIFICE * self._drain_m2)
        return self.standing_m + velocity**2 / (2 * STANDARD_GRAVITY_M_PER_S2)

    def held_l(self, inflow_l_per_min: float) -> float:
        """What stands above the standing level at this inflow, at most up to the rim."""
        return self._litres(min(self.depth_m(inflow_l_per_min), self.rim_m) - self.standing_m)

    @property
    def _drain_m2(self) -> float:
        return pi * self.drain_bore_m**2 / 4

    def _litres(self, depth_m: float) -> float:
        return 1000 * FREE_SHARE * self.length_m * self.width_m * depth_m
