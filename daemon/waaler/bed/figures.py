"""The bed in figures: its pots, and what sump, line and tray hold."""

from dataclasses import dataclass
from math import ceil
from statistics import fmean

from waaler.bed.pots import Pot, alike
from waaler.bed.sump import DRIP_MIN

__all__ = ["Figures"]


@dataclass(frozen=True, slots=True)
class Figures:
    """Volumes in litres, flows in litres a minute.

    Defaults: an invented bed of fourteen pots; common practice, no source.

    pots: in the order along the line. weak_l_per_min: what the weakest quarter of the pots get, as it was
    measured; a dose is meant for them. None where only what the pots say is known.
    line_l: what hose and line hold; it runs back into the sump after each run.
    sump_full_l, sump_low_l, sump_empty_l: at the full mark, at the low float's mark, at the lowest level that
    the pump can lift from.
    drain_l_per_min: most that the tray's drain lets through. tray_high_l: water in the tray at the high float.
    tray_rim_l: water in the tray when it spills.
    evaporates_l_per_day: what open water loses, a sump without a lid above all.
    """

    pots: tuple[Pot, ...] = alike(14, Pot())
    line_l: float = 1.5
    sump_full_l: float = 220.0
    sump_low_l: float = 45.0
    sump_empty_l: float = 25.0
    drain_l_per_min: float = 25.0
    tray_high_l: float = 60.0
    tray_rim_l: float = 100.0
    weak_l_per_min: float | None = None
    evaporates_l_per_day: float = 0.0

    @property
    def pump_l_per_min(self) -> float:
        """Flow of all outlets together."""
        return sum(pot.flow_l_per_min for pot in self.pots)

    @property
    def fill_s(self) -> float:
        """Seconds until the line is full and the outlets begin to give."""
        return 60 * self.line_l / self.pump_l_per_min

    def dip_l(self, run_s: float) -> float:
        """What a run takes out of the sump until its water is back: all of it, or what line, pots and tray hold.

        Media at capacity let all run through, with a delay; the tray stands as Torricelli's law has it.
        """
        flow = self.pump_l_per_min
        standing_l = min(self.tray_rim_l, (flow / self.drain_l_per_min) ** 2 * self.tray_rim_l)
        return min(flow * run_s / 60, self.line_l + DRIP_MIN * flow + standing_l)

    def dose_s(self, litres: float) -> float:
        """Seconds to fill the line, then to give this much in a pot of the weakest quarter."""
        return self.fill_s + 60 * litres / (self.weak_l_per_min or self._weak_quarter_l_per_min)

    def given_l(self, run_s: float) -> tuple[float, ...]:
        """What each pot gets in a run: nothing until the line is full."""
        minutes = max(0.0, run_s - self.fill_s) / 60
        return tuple(pot.flow_l_per_min * minutes for pot in self.pots)

    @property
    def _weak_quarter_l_per_min(self) -> float:
        """Mean of the weakest quarter of the pots that get water."""
        flows = sorted(pot.flow_l_per_min for pot in self.pots if pot.flow_l_per_min > 0)
        return fmean(flows[: ceil(len(flows) / 4)])
