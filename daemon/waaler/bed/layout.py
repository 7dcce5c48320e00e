"""What a bed is made of: pump, hose, a line of one or more legs, and a small tube to every pot.

Heights are above the line; the sump's lowest solution level lies `lift_m` below it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi

from waaler.bed.friction import Loss, Regime, darcy, hazen_williams, regime
from waaler.bed.network import Flows, Network, Pipe, solve
from waaler.bed.pump import PumpCurve
from waaler.bed.water import kinematic_viscosity_m2_per_s

__all__ = [
    "Law",
    "Layout",
    "Leg",
    "Piece",
    "Tube",
    "Watering",
    "opening_of",
    "pinch_k",
    "tube_loss_m",
    "watering",
    "with_tubes",
]

SMOOTH_PLASTIC_M = 1.5e-6
"""Roughness of drawn plastic tube. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Law:
    """Friction by Darcy and Weisbach, or by Hazen and Williams where hazen_williams_c is given."""

    roughness_m: float = SMOOTH_PLASTIC_M
    hazen_williams_c: float | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of pipe. fittings_k: sum of the loss coefficients of its fittings, on its own velocity."""

    length_m: float
    bore_m: float
    fittings_k: float = 0.0

    @property
    def volume_l(self) -> float:
        return 1000 * self.length_m * pi * self.bore_m**2 / 4


@dataclass(frozen=True, slots=True)
class Tube:
    """An outlet. end_m: height of its end above the line. opening: 1 open, less where it is pinched or clogged."""

    bore_m: float
    length_m: float
    end_m: float
    fittings_k: float
    opening: float = 1.0
    pot: str = ""


@dataclass(frozen=True, slots=True)
class Leg:
    """Tubes along a line. gaps_m: line before each tube, the first from where the leg begins.

    header: what leads from the leg before (or from the hose) to the beginning of this one. back_m: a line from the
    last tube back to the beginning, which makes it a ring.
    """

    tubes: tuple[Tube, ...]
    gaps_m: tuple[float, ...]
    bore_m: float
    fittings_k: float = 0.0
    header: Piece | None = None
    back_m: float | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """lift_m: from the lowest solution level up to the line. water_c: temperature of the solution."""

    pump: PumpCurve
    lift_m: float
    hose: Piece
    legs: tuple[Leg, ...]
    law: Law = Law()
    water_c: float = 20.0

    @property
    def tubes(self) -> tuple[Tube, ...]:
        """In the order of the outlets' numbers."""
        return tuple(tube for leg in self.legs for tube in leg.tubes)

    @property
    def pipes_l(self) -> float:
        """What hose, header and line hold; it runs back when the pump stops."""
        return sum(piece.volume_l for _, _, piece in _line(self))


@dataclass(frozen=True, slots=True)
class Watering:
    """The steady state, outlet by outlet. line_m_per_s: the highest velocity in hose, header and line."""

    flow_l_per_min: float
    head_m: float
    outlets_l_per_min: tuple[float, ...]
    regimes: tuple[Regime, ...]
    line_m_per_s: float
    heads_m: tuple[float, ...]

    @property
    def dry(self) -> tuple[int, ...]:
        """Numbers of the outlets that give nothing, from 1."""
        return tuple(n for n, flow in enumerate(self.outlets_l_per_min, start=1) if flow <= 0)


def watering(layout: Layout) -> Watering:
    """Solves the layout. Raises NoFlow where no steady state gives water."""
    network = _network(layout)
    flows = solve(network)
    tubes = layout.tubes
    outlets = [max(0.0, flows.pipes_m3_per_s[f"t{n}"]) for n in range(len(tubes))]
    viscosity = kinematic_viscosity_m2_per_s(layout.water_c)
    return Watering(
        flow_l_per_min=60_000 * flows.pump_m3_per_s,
        head_m=flows.pump_head_m,
        outlets_l_per_min=tuple(60_000 * flow for flow in outlets),
        regimes=tuple(
            regime(4 * flow / (pi * tube.bore_m * viscosity)) for flow, tube in zip(outlets, tubes, strict=True)
        ),
        line_m_per_s=_fastest_m_per_s(layout, flows),
        heads_m=tuple(flows.heads_m[network.pipes[f"t{n}"].start] for n in range(len(tubes))),
    )


def with_tubes(layout: Layout, tubes: tuple[Tube, ...]) -> Layout:
    """The layout with other tubes, in the order of their numbers."""
    legs, begin = [], 0
    for leg in layout.legs:
        end = begin + len(leg.tubes)
        legs.append(replace(leg, tubes=tubes[begin:end]))
        begin = end
    return replace(layout, legs=tuple(legs))


def tube_loss_m(layout: Layout, tube: Tube, flow_m3_per_s: float) -> float:
    """Head that a tube loses at this flow, its pinch and fittings included."""
    return _loss_by(layout)(_as_piece(tube))(flow_m3_per_s)[0]


def pinch_k(opening: float) -> float:
    """Loss coefficient of a tube pinched to this share of its area, on the open tube's velocity; 0 when open.

    Source: the jet contracts to Weisbach's 0.63 + 0.37 s^3 of the gap and widens again after Borda and Carnot
    (from memory).
    """
    contraction = 0.63 + 0.37 * opening**3
    return (1 / (contraction * opening) - 1) ** 2


def opening_of(k: float) -> float:
    """The opening that has this loss coefficient, by halving; 1 for k <= 0."""
    low, high = 1e-4, 1.0
    if k <= 0:
        return 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if pinch_k(middle) > k else (low, middle)
    return high


def _line(layout: Layout) -> Iterator[tuple[str, str, Piece]]:
    """Every piece but the tubes, with the nodes at its ends; the pump gives at `p`, a tube n begins at `n{n}`."""
    yield "p", "h", layout.hose
    at, number = "h", 0
    for index, leg in enumerate(layout.legs):
        if leg.header is not None:
            yield at, f"h{index}", leg.header
            at = f"h{index}"
        before = at
        for position, gap_m in enumerate(leg.gaps_m):
            fittings_k = leg.fittings_k if position == 0 else 0.0
            yield before, f"n{number}", Piece(gap_m, leg.bore_m, fittings_k)
            before, number = f"n{number}", number + 1
        if leg.back_m is not None:
            yield before, at, Piece(leg.back_m, leg.bore_m)


def _network(layout: Layout) -> Network:
    loss_of = lru_cache(maxsize=None)(_loss_by(layout))
    pipes = {f"l{n}": Pipe(start, end, loss_of(piece)) for n, (start, end, piece) in enumerate(_line(layout))}
    for n, tube in enumerate(layout.tubes):
        pipes[f"t{n}"] = Pipe(f"n{n}", f"o{n}", loss_of(_as_piece(tube)))
    ends = {f"o{n}": tube.end_m for n, tube in enumerate(layout.tubes)}
    return Network(layout.pump, "p", -layout.lift_m, ends, pipes)


def _as_piece(tube: Tube) -> Piece:
    return Piece(tube.length_m, tube.bore_m, tube.fittings_k + pinch_k(tube.opening))


def _loss_by(layout: Layout) -> Callable[[Piece], Loss]:
    """The friction of any piece by the layout's law, at the solution's temperature."""
    c, roughness_m = layout.law.hazen_williams_c, layout.law.roughness_m
    if c is not None:
        return lambda piece: hazen_williams(piece.length_m, piece.bore_m, c, piece.fittings_k)
    viscosity = kinematic_viscosity_m2_per_s(layout.water_c)
    return lambda piece: darcy(piece.length_m, piece.bore_m, roughness_m, piece.fittings_k, viscosity)


def _fastest_m_per_s(layout: Layout, flows: Flows) -> float:
    pieces = [piece for _, _, piece in _line(layout)]
    speeds = [abs(flows.pipes_m3_per_s[f"l{n}"]) / (pi * piece.bore_m**2 / 4) for n, piece in enumerate(pieces)]
    return max(speeds)
