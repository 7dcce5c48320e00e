"""The pump's circuits as net lists: `draw.py` draws them, `cases.py` computes the truth table from them.

A terminal is written as on the part: `K3:A1`. Marks of coils (A1, A2), of a timer's change-over contact (15, 16,
18), of relay contacts (11, 14), of a contactor's poles (1-2, 3-4) and of a selector's blocks (13-14, 23-24) are
from memory of IEC 60947 and EN 50005; what is printed on the part goes first.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

__all__ = [
    "CIRCUITS",
    "CONDUCTS",
    "DEMAND",
    "LOADS",
    "LOW_VOLTAGE",
    "MAINS",
    "OUTLET",
    "Circuit",
    "Function",
    "Kind",
    "Part",
]


class Kind(Enum):
    FUSE = "fuse"
    BREAKER = "breaker"
    CONTACT = "contact"
    FLOAT = "float"
    TIMED = "timer's contact"
    COIL = "coil"
    TIMER = "timer's coil"
    MOTOR = "pump"
    SENSED = "sensed supply"
    DIODE = "diode"
    EARTH = "earth"


CONDUCTS = frozenset({Kind.FUSE, Kind.BREAKER, Kind.CONTACT, Kind.FLOAT, Kind.TIMED})
LOADS = frozenset({Kind.COIL, Kind.TIMER, Kind.MOTOR, Kind.SENSED})


class Function(Enum):
    """What a timer relay does with its contact 15-18. Source: IEC 61812-1, from memory."""

    INTERVAL = "interval"
    """Closes at once when the coil gets its supply, opens after the set time, stays open until the supply goes."""

    ON_DELAY = "on-delay"
    """Closes the set time after the coil got its supply; its 15-16 opens then. Drops when the supply goes."""


@dataclass(frozen=True, slots=True)
class Part:
    """What lies between two terminals of a device (an earth has one).

    ends: the marks of its terminals; of a diode the anode first.
    closed_by: what closes it, if that is not its own device: a position of S1.
    """

    device: str
    kind: Kind
    ends: tuple[str, ...]
    closed_by: str = ""
    words: tuple[str, ...] = ()

    @property
    def terminals(self) -> tuple[str, ...]:
        return tuple(f"{self.device}:{end}" for end in self.ends)

    @property
    def key(self) -> str:
        """What must hold for it to be closed; a fuse that is whole is closed."""
        return self.closed_by or self.device

    @property
    def name(self) -> str:
        """Unique in its circuit: the device and its terminals."""
        return f"{self.device}:{'-'.join(self.ends)}"


@dataclass(frozen=True, slots=True)
class Circuit:
    """sources: the two poles of each. nets: name to the terminals that one wire joins. timer: K3's function."""

    sources: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    nets: Mapping[str, tuple[str, ...]]
    timer: Function = Function.INTERVAL

    def net_of(self, terminal: str) -> str | None:
        """None if no wire goes to it."""
        return next((name for name, terminals in self.nets.items() if terminal in terminals), None)


DEMAND = "demand"
"""The net behind the selector: live while K1 or BY HAND asks for water. K3 measures how long it is."""

SELECTOR = (
    Part("S1", Kind.CONTACT, ("13", "14"), "S1 AUTO", ("AUTO",)),
    Part("S1", Kind.CONTACT, ("23", "24"), "S1 BY HAND", ("BY HAND",)),
    Part("K1", Kind.CONTACT, ("11", "14"), words=("the Pi's relay",)),
    Part("K4", Kind.CONTACT, ("11", "14"), words=("cut-off relay, if", "fitted; else a link")),
)
"""Common to all circuits: AUTO goes through the Pi's relays, BY HAND around them, in the middle is OFF."""

LAST_LINE = (
    Part("K3", Kind.TIMER, ("A1", "A2"), words=("run-time limiter,", "function: interval")),
    Part("S2", Kind.FLOAT, ("1", "2"), words=("second float",)),
    Part("K3", Kind.TIMED, ("15", "18"), words=("limiter",)),
    Part("K2", Kind.COIL, ("A1", "A2")),
)
"""Common to all circuits: the float and the limiter's contact move K2. Neither carries the pump's current."""

ACROSS_K2 = Part("D2", Kind.DIODE, ("A", "K"))

LOW_VOLTAGE = Circuit(
    sources=(("X1:+", "X1:-"),),
    parts=(
        Part("F1", Kind.FUSE, ("1", "2"), words=("for the cable",)),
        *SELECTOR,
        Part("K2", Kind.CONTACT, ("11", "14"), words=("last line",)),
        Part("M1", Kind.MOTOR, ("+", "-"), words=("pump",)),
        Part("D1", Kind.DIODE, ("A", "K")),
        Part("sensed", Kind.SENSED, ("1", "2"), words=("sensed supply,", "isolated contact", "to the Pi")),
        Part("F2", Kind.FUSE, ("1", "2"), words=("1 A",)),
        *LAST_LINE,
        ACROSS_K2,
    ),
    nets={
        "24 V": ("X1:+", "F1:1"),
        "fused": ("F1:2", "S1:13", "S1:23"),
        "auto": ("S1:14", "K1:11"),
        "between relays": ("K1:14", "K4:11"),
        DEMAND: ("K4:14", "S1:24", "K2:11", "F2:1"),
        "pump": ("K2:14", "M1:+", "D1:K", "sensed:1"),
        "last line": ("F2:2", "K3:A1", "S2:1"),
        "float up": ("S2:2", "K3:15"),
        "within the limit": ("K3:18", "K2:A1", "D2:K"),
        "0 V": ("X1:-", "M1:-", "D1:A", "sensed:2", "K3:A2", "K2:A2", "D2:A"),
    },
)

MAINS = Circuit(
    sources=(("X0:L", "X0:N"), ("X1:+", "X1:-")),
    parts=(
        Part("Q1", Kind.BREAKER, ("1", "2")),
        Part("Q1", Kind.BREAKER, ("3", "4"), words=("RCD and breaker",)),
        Part("K0", Kind.CONTACT, ("1", "2")),
        Part("K0", Kind.CONTACT, ("3", "4"), words=("follows demand",)),
        Part("K2", Kind.CONTACT, ("1", "2")),
        Part("K2", Kind.CONTACT, ("3", "4"), words=("last line",)),
        Part("M1", Kind.MOTOR, ("U", "N"), words=("pump",)),
        Part("M1", Kind.EARTH, ("PE",)),
        Part("sensed", Kind.SENSED, ("1", "2"), words=("sensed supply,", "if fitted")),
        Part("F2", Kind.FUSE, ("1", "2"), words=("1 A",)),
        *SELECTOR,
        Part("K0", Kind.COIL, ("A1", "A2")),
        Part("D3", Kind.DIODE, ("A", "K")),
        *LAST_LINE,
        ACROSS_K2,
    ),
    nets={
        "L": ("X0:L", "Q1:1"),
        "N": ("X0:N", "Q1:3"),
        "L protected": ("Q1:2", "K0:1"),
        "N protected": ("Q1:4", "K0:3"),
        "L demanded": ("K0:2", "K2:1"),
        "N demanded": ("K0:4", "K2:3"),
        "L pump": ("K2:2", "M1:U", "sensed:1"),
        "N pump": ("K2:4", "M1:N", "sensed:2"),
        "PE": ("X0:PE", "M1:PE"),
        "24 V": ("X1:+", "F2:1"),
        "fused": ("F2:2", "S1:13", "S1:23"),
        "auto": ("S1:14", "K1:11"),
        "between relays": ("K1:14", "K4:11"),
        DEMAND: ("K4:14", "S1:24", "K0:A1", "D3:K", "K3:A1", "S2:1"),
        "float up": ("S2:2", "K3:15"),
        "within the limit": ("K3:18", "K2:A1", "D2:K"),
        "0 V": ("X1:-", "K0:A2", "D3:A", "K3:A2", "K2:A2", "D2:A"),
    },
)

OUTLET = Circuit(
    sources=(("X0:L", "X0:N"), ("X1:+", "X1:-")),
    parts=(
        Part("Q1", Kind.BREAKER, ("1", "2"), words=("GFCI or RCD",)),
        Part("Q1", Kind.BREAKER, ("3", "4")),
        Part("K2", Kind.CONTACT, ("in", "out"), words=("inside a listed", "switched outlet")),
        Part("M1", Kind.MOTOR, ("L", "N"), words=("pump, by its", "own plug")),
        Part("M1", Kind.EARTH, ("PE",)),
        Part("sensed", Kind.SENSED, ("1", "2"), words=("sensed supply:", "a small plug-in", "supply, if fitted")),
        Part("F2", Kind.FUSE, ("1", "2"), words=("1 A",)),
        *SELECTOR,
        *LAST_LINE[:-1],
        Part("K2", Kind.COIL, ("A1", "A2"), words=("the outlet's", "control input")),
    ),
    nets={
        "L": ("X0:L", "Q1:1"),
        "N": ("X0:N", "Q1:3"),
        "L protected": ("Q1:2", "K2:in"),
        "pump": ("K2:out", "M1:L", "sensed:1"),
        "N protected": ("Q1:4", "M1:N", "sensed:2"),
        "PE": ("X0:PE", "M1:PE"),
        "24 V": ("X1:+", "F2:1"),
        "fused": ("F2:2", "S1:13", "S1:23"),
        "auto": ("S1:14", "K1:11"),
        "between relays": ("K1:14", "K4:11"),
        DEMAND: ("K4:14", "S1:24", "K3:A1", "S2:1"),
        "float up": ("S2:2", "K3:15"),
        "within the limit": ("K3:18", "K2:A1"),
        "0 V": ("X1:-", "K3:A2", "K2:A2"),
    },
)
"""Nobody touches a wire of the mains: the outlet is bought whole. A weld of its one contact is not covered."""

CIRCUITS = {"pump-low-voltage": LOW_VOLTAGE, "pump-outlet": OUTLET, "pump-mains": MAINS}
