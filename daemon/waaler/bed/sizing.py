"""Is the pump big enough, and does everything that it lifts find room: the figures of a bed while it runs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil
from statistics import fmean

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout, Watering, watering
from waaler.bed.pots import Pot, named
from waaler.bed.tray import Tray
from waaler.bed.uniformity import christiansen_percent, low_quarter_percent, statistical_percent

__all__ = ["MARGIN", "MOST_LINE_M_PER_S", "Answer", "Size", "answer", "bags", "size"]

MARGIN = 0.2
"""More flow than needed at the same head: filters clog, pumps wear. Common practice, no source."""

MOST_UNEVEN = 2.0
"""Times the least outlet that the strongest may give. Common practice, no source."""

MOST_LINE_M_PER_S = 1.5
"""Faster water in a line costs head and hammers. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Size:
    """Flows in litres a minute, volumes in litres, shares in per cent.

    depth_m: of the water in the tray while the pump runs, None without a tray. dip_l: what one run of run_s takes
    out of the sump until the water is back. backs_l: what hose and line give back at once. room_l: what the sump
    can take above its full mark, None where its brim is not known. runs_dry: whether the dip of a run from the low
    mark passes the lowest pumping level.
    """

    flows: Watering
    mean_l_per_min: float
    weak_l_per_min: float
    christiansen: float
    low_quarter: float
    statistical: float
    least_pump_l_per_min: float
    depth_m: float | None
    is_spilling: bool
    backs_l: float
    room_l: float | None
    dip_l: float
    runs_dry: bool

    @property
    def is_sound(self) -> bool:
        """No outlet dry, no water over a rim, no pump drawing air."""
        has_room = self.room_l is None or self.backs_l <= self.room_l
        return not self.flows.dry and not self.is_spilling and has_room and not self.runs_dry


def size(layout: Layout, figures: Figures, tray: Tray | None, brim_l: float | None, run_s: float) -> Size:
    """The bed while it runs. Raises NoFlow where the pump cannot lift, ValueError with fewer than two outlets."""
    flows = watering(layout)
    outlets = flows.outlets_l_per_min
    weak = sorted(outlets)[: ceil(len(outlets) / 4)]
    depth_m = None if tray is None else tray.depth_m(flows.flow_l_per_min)
    dip_l = _dip_l(layout, tray, flows.flow_l_per_min, run_s)
    return Size(
        flows=flows,
        mean_l_per_min=fmean(outlets),
        weak_l_per_min=fmean(weak),
        christiansen=christiansen_percent(outlets),
        low_quarter=low_quarter_percent(outlets),
        statistical=statistical_percent(outlets),
        least_pump_l_per_min=(1 + MARGIN) * flows.flow_l_per_min,
        depth_m=depth_m,
        is_spilling=tray is not None and depth_m is not None and depth_m > tray.rim_m,
        backs_l=layout.pipes_l,
        room_l=None if brim_l is None else brim_l - figures.sump_full_l,
        dip_l=dip_l,
        runs_dry=figures.sump_low_l - dip_l < figures.sump_empty_l,
    )


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether the pump is big enough for this bed, and why.

    wants_l_per_min: of the pump, the flow at which the pot with the least to spare just gets what it drinks.
    """

    is_yes: bool
    wants_l_per_min: float
    why: str


def answer(found: Size, pots: Sequence[Pot], wants: Sequence[float]) -> Answer:
    """wants: what each pot must get while the pump runs, litres a minute, for all that its plants drink."""
    flow = found.flows.flow_l_per_min
    each = zip(pots, wants, strict=True)
    bed_wants = flow * max((want / pot.flow_l_per_min for pot, want in each if pot.flow_l_per_min > 0), default=0.0)
    gives = f"{60 * flow:.0f} L/h where this bed wants {60 * bed_wants:.0f}"
    reason = _unsound(found) or _uneven(found.flows.outlets_l_per_min) or _short(pots, wants)
    return Answer(reason is None, bed_wants, gives if reason is None else f"{gives}; {reason}")


def _unsound(found: Size) -> str | None:
    if found.flows.dry:
        return f"outlets {', '.join(map(str, found.flows.dry[:8]))} give nothing: more head, or less lift"
    if found.is_spilling:
        return "the tray spills: a wider drain, or a smaller pump"
    if found.runs_dry:
        return "one run from the low mark draws air: a larger sump, or a higher low float"
    if found.room_l is not None and found.backs_l > found.room_l:
        return "what runs back passes the brim: a lower full mark"
    return None


def _uneven(outlets: Sequence[float]) -> str | None:
    most, least = max(outlets), min(outlets)
    if most <= MOST_UNEVEN * least:
        return None
    first, last = outlets.index(most) + 1, outlets.index(least) + 1
    return f"outlet {first} gets {most / least:.1f} times what outlet {last} gets: cut or pinch the tubes as below"


def _short(pots: Sequence[Pot], wants: Sequence[float]) -> str | None:
    short = [n for n, (pot, want) in enumerate(zip(pots, wants, strict=True)) if pot.flow_l_per_min < want]
    if not short:
        return None
    return f"{named(pots, short)} get less than they drink on the plan as it is: longer cycles, or a larger pump"


def bags(pots_l: Iterable[float], bag_l: float) -> tuple[float, int]:
    """Litres of medium, and whole bags to buy. pots_l: the medium in each pot."""
    litres = sum(pots_l)
    return litres, ceil(litres / bag_l)


def _dip_l(layout: Layout, tray: Tray | None, flow_l_per_min: float, run_s: float) -> float:
    """Hose and line fill, the tray rises to where its drain keeps up; never more than was lifted.

    With media at capacity all that is given drains through; dry media take up more, and the sump keeps it lost.
    """
    lifted_l = flow_l_per_min * run_s / 60
    held_l = 0.0 if tray is None else tray.held_l(flow_l_per_min)
    return min(lifted_l, layout.pipes_l + held_l)
