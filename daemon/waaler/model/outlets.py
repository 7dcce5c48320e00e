"""What each pot's outlets give, by how much water is in the sump: few solves of the network, kept by level."""

from dataclasses import replace

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout, watering
from waaler.bed.network import NoFlow
from waaler.bed.pots import by_pot
from waaler.bed.sump import SumpShape

__all__ = ["Outlets"]

BANDS = 24
"""Between the lowest pumping level and the full mark; within one of them the flows do not change."""


class Outlets:
    """Flows of all pots in litres a minute.

    Without a layout every pot gets what the figures say; without the sump's shape its level changes nothing.
    """

    def __init__(self, figures: Figures, layout: Layout | None = None, shape: SumpShape | None = None) -> None:
        self._figures, self._layout, self._shape = figures, layout, shape
        self._lowest_l = figures.sump_empty_l
        self._band_l = (figures.sump_full_l - figures.sump_empty_l) / BANDS
        self._known: dict[int, tuple[float, ...]] = {}

    def at(self, sump_l: float) -> tuple[float, ...]:
        """What the pots get at this level; a level above the full mark counts as it."""
        band = 0
        if self._layout is not None and self._shape is not None:
            band = max(0, min(BANDS - 1, int((sump_l - self._lowest_l) / self._band_l)))
        flows = self._known.get(band)
        if flows is None:
            flows = self._known[band] = self._solve(band)
        return flows

    def _solve(self, band: int) -> tuple[float, ...]:
        figures, layout = self._figures, self._layout
        if layout is None:
            return tuple(pot.flow_l_per_min for pot in figures.pots)
        above_m = self._above_m(self._lowest_l + (band + 0.5) * self._band_l)
        try:
            outlets = watering(replace(layout, lift_m=layout.lift_m - above_m)).outlets_l_per_min
        except NoFlow:
            return (0.0,) * len(figures.pots)
        return by_pot(figures.pots, outlets)

    def _above_m(self, litres: float) -> float:
        """How high this much stands above the lowest pumping level."""
        if self._shape is None:
            return 0.0
        here, lowest = self._shape.depth_m(litres), self._shape.depth_m(self._lowest_l)
        return 0.0 if here is None or lowest is None else here - lowest
