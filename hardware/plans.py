"""Where the parts of each circuit stand on its drawing. No wire is written here: those follow from the net list."""

from collections.abc import Mapping
from dataclasses import dataclass

from hardware.circuit import DEMAND
from hardware.pen import Point

__all__ = ["PLANS", "Plan"]

Place = tuple[Point, Point]
"""Of a part's first end and of its last."""

LENGTH, PITCH = 1.5, 1.9
"""A part is so long, and parts of a column stand so far apart."""

K3_WORDS = (
    "K3 measures demand: its coil hangs behind S1, and",
    "before its own contact and the float. 15-18 closes",
    "with demand, opens after the set time, and stays",
    "open until demand ends.",
)


@dataclass(frozen=True, slots=True)
class Plan:
    """places: by the part's name. sources: a pole and its words. levels: how high a net's level wire runs.

    notes: top left corner and lines. linked: parts that move together, joined by a broken line. apart: ends of the
    line that nothing of the mains crosses.
    """

    places: Mapping[str, Place]
    sources: Mapping[str, tuple[Point, str]]
    levels: Mapping[str, float]
    notes: tuple[tuple[Point, tuple[str, ...]], ...]
    linked: tuple[tuple[str, str], ...]
    apart: tuple[Point, Point] | None = None


def _down(x: float, top: float, *names: str) -> dict[str, Place]:
    """Parts under each other, the first end of each above."""
    tops = [top - PITCH * n for n in range(len(names))]
    return {name: ((x, y), (x, y - LENGTH)) for name, y in zip(names, tops, strict=True)}


def _up(x: float, top: float, name: str) -> dict[str, Place]:
    """A part whose first end is below: a diode, with its ring above."""
    return {name: ((x, top - LENGTH), (x, top))}


LOW_VOLTAGE = Plan(
    places={
        **_down(0.0, -0.5, "F1:1-2"),
        **_down(0.0, -2.7, "S1:13-14", "K1:11-14", "K4:11-14"),
        **_down(4.2, -2.7, "S1:23-24"),
        **_down(0.0, -9.0, "K2:11-14"),
        **_down(0.0, -11.4, "M1:+--"),
        **_up(-2.2, -11.4, "D1:A-K"),
        **_down(2.4, -11.4, "sensed:1-2"),
        **_down(7.4, -9.0, "F2:1-2"),
        **_down(7.4, -11.4, "K3:A1-A2"),
        **_down(11.2, -11.4, "S2:1-2", "K3:15-18"),
        **_down(11.2, -15.6, "K2:A1-A2"),
        **_up(13.0, -15.6, "D2:A-K"),
    },
    sources={"X1:+": ((0.0, 0.0), "24 V +"), "X1:-": ((-2.8, -17.6), "0 V")},
    levels={
        "fused": -2.35,
        DEMAND: -8.5,
        "pump": -11.0,
        "last line": -11.0,
        "within the limit": -15.2,
        "0 V": -17.6,
    },
    notes=(
        ((7.0, -0.3), ("Drawn with no supply, S1 on OFF, the sump full.",)),
        ((7.0, -1.3), K3_WORDS),
        ((7.0, -3.5), ("S2 hangs 20 to 30 mm below the Pi's float and", "is closed while water lifts it.")),
        ((7.0, -4.9), ("S1 has OFF in the middle.",)),
        ((7.0, -5.9), ("The coils of K1 and K4 are on the Pi's side.",)),
    ),
    linked=(("S1:13-14", "S1:23-24"),),
)

MAINS = Plan(
    places={
        **_down(0.0, -0.5, "Q1:1-2"),
        **_down(2.2, -0.5, "Q1:3-4"),
        **_down(0.0, -2.7, "K0:1-2", "K2:1-2"),
        **_down(2.2, -2.7, "K0:3-4", "K2:3-4"),
        "sensed:1-2": ((0.0, -6.9), (2.2, -6.9)),
        "M1:U-N": ((0.0, -8.4), (2.2, -8.4)),
        "M1:PE": ((1.1, -8.92), (1.1, -8.92)),
        **_down(7.4, -0.5, "F2:1-2"),
        **_down(7.4, -2.7, "S1:13-14", "K1:11-14", "K4:11-14"),
        **_down(11.0, -2.7, "S1:23-24"),
        **_down(7.4, -9.0, "K0:A1-A2"),
        **_up(9.2, -9.0, "D3:A-K"),
        **_down(11.0, -9.0, "K3:A1-A2"),
        **_down(14.5, -9.0, "S2:1-2", "K3:15-18"),
        **_down(14.5, -13.2, "K2:A1-A2"),
        **_up(16.1, -13.2, "D2:A-K"),
    },
    sources={
        "X0:L": ((0.0, 0.0), "L"),
        "X0:N": ((2.2, 0.0), "N"),
        "X0:PE": ((-1.3, 0.0), "PE"),
        "X1:+": ((7.4, 0.0), "24 V +"),
        "X1:-": ((6.9, -15.2), "0 V"),
    },
    levels={"PE": -9.6, "fused": -2.35, DEMAND: -8.5, "within the limit": -12.8, "0 V": -15.2},
    notes=(
        (
            (-1.9, -10.8),
            (
                "The mains side: a licensed electrician,",
                "after local code, in an enclosure of its",
                "own. The earth goes through unbroken.",
                "Nothing of the mains crosses the broken",
                "line.",
            ),
        ),
        (
            (-1.9, -13.4),
            (
                "Drawn with no supply, S1 on OFF,",
                "the sump full. S1 has OFF in the",
                "middle. The coils of K1 and K4 are",
                "on the Pi's side.",
            ),
        ),
        ((13.0, -0.3), ("24 V: from a safety-", "isolating supply")),
    ),
    linked=(("S1:13-14", "S1:23-24"), ("Q1:1-2", "Q1:3-4"), ("K0:1-2", "K0:3-4"), ("K2:1-2", "K2:3-4")),
    apart=((5.5, 0.4), (5.5, -15.6)),
)

OUTLET = Plan(
    places={
        **_down(2.2, -0.5, "Q1:1-2"),
        **_down(0.0, -0.5, "Q1:3-4"),
        **_down(2.2, -3.2, "K2:in-out"),
        "sensed:1-2": ((2.2, -6.2), (0.0, -6.2)),
        "M1:L-N": ((2.2, -8.0), (0.0, -8.0)),
        "M1:PE": ((1.1, -8.52), (1.1, -8.52)),
        **_down(7.4, -0.5, "F2:1-2"),
        **_down(7.4, -2.7, "S1:13-14", "K1:11-14", "K4:11-14"),
        **_down(11.0, -2.7, "S1:23-24"),
        **_down(11.0, -9.0, "K3:A1-A2"),
        **_down(14.5, -9.0, "S2:1-2", "K3:15-18", "K2:A1-A2"),
    },
    sources={
        "X0:L": ((2.2, 0.0), "L"),
        "X0:N": ((0.0, 0.0), "N"),
        "X0:PE": ((-1.3, 0.0), "PE"),
        "X1:+": ((7.4, 0.0), "24 V +"),
        "X1:-": ((10.0, -14.8), "0 V"),
    },
    levels={"PE": -9.2, "fused": -2.35, DEMAND: -8.5, "0 V": -14.8},
    notes=(
        (
            (-1.9, -10.4),
            (
                "Nothing here is opened or wired by you:",
                "socket, outlet and pump are bought whole",
                "and plugged together.",
            ),
        ),
        (
            (-1.9, -12.2),
            (
                "Drawn with no supply, S1 on OFF,",
                "the sump full. S1 has OFF in the",
                "middle. The coils of K1 and K4 are",
                "on the Pi's side.",
            ),
        ),
        ((13.0, -0.3), ("24 V: from a safety-", "isolating supply")),
    ),
    linked=(("S1:13-14", "S1:23-24"), ("Q1:1-2", "Q1:3-4")),
    apart=((5.5, 0.4), (5.5, -15.2)),
)

PLANS = {"pump-low-voltage": LOW_VOLTAGE, "pump-outlet": OUTLET, "pump-mains": MAINS}
