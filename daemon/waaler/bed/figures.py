"""The bed in a few figures: what a one-flow model of it needs."""

from dataclasses import dataclass

from waaler.bed.sump import DRIP_MIN

__all__ = ["Figures"]


@dataclass(frozen=True, slots=True)
class Figures:
    """A bed of equal outlets. Volumes in litres, flows in litres a minute.

    Defaults: an invented bed of fourteen pots; common practice, no source.

    outlet_l_per_min: flow of one outlet while the pump runs, on average. weak_outlet_l_per_min: of the weakest
    quarter, which a dose is meant for; None where all are alike.
    line_l: what hose and line hold; it runs back into the sump after each run.
    sump_full_l, sump_low_l, sump_empty_l: at the full mark, at the low float's mark, at the lowest level that
    the pump can lift from.
    media_l_per_pot: media in a pot. capacity_fraction: share of it that is water once drained (0 to 1).
    wilting_fraction: share below which plants wilt.
    drain_l_per_min: most that the tray's drain lets through. tray_high_l: water in the tray at the high float.
    tray_rim_l: water in the tray when it spills.
    drink_l_per_pot_day: what the plants of a pot take up on an ordinary day. evaporates_l_per_day: what open water
    loses besides, a sump without a lid above all.
    """

    pots: int = 14
    outlet_l_per_min: float = 0.9
    line_l: float = 1.5
    sump_full_l: float = 220.0
    sump_low_l: float = 45.0
    sump_empty_l: float = 25.0
    media_l_per_pot: float = 18.0
    capacity_fraction: float = 0.3
    wilting_fraction: float = 0.1
    drain_l_per_min: float = 25.0
    tray_high_l: float = 60.0
    tray_rim_l: float = 100.0
    drink_l_per_pot_day: float = 1.2
    weak_outlet_l_per_min: float | None = None
    evaporates_l_per_day: float = 0.0

    @property
    def pump_l_per_min(self) -> float:
        """Flow of all outlets together."""
        return self.pots * self.outlet_l_per_min

    def dip_l(self, run_s: float) -> float:
        """What a run takes out of the sump until its water is back: all of it, or what line, pots and tray hold.

        Media at capacity let all run through, with a delay; the tray stands as Torricelli's law has it.
        """
        flow = self.pump_l_per_min
        standing_l = min(self.tray_rim_l, (flow / self.drain_l_per_min) ** 2 * self.tray_rim_l)
        return min(flow * run_s / 60, self.line_l + DRIP_MIN * flow + standing_l)

    def dose_s(self, litres: float) -> float:
        """Seconds to fill the line, then to give this much at an outlet of the weakest quarter."""
        weak_l_per_min = self.weak_outlet_l_per_min or self.outlet_l_per_min
        return 60 * (self.line_l / self.pump_l_per_min + litres / weak_l_per_min)
