"""The one door for orders: what comes from socket, shell, broker or button becomes a Request, or nothing at all.

A number that no person can mean would stand in the history for ever, and break whoever reads it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from waaler.core.facts import Amount
from waaler.core.messages import OrderKind
from waaler.guard.messages import Input

__all__ = ["NotAdmitted", "Request", "Room", "admitted"]

LONGEST_TEXT = 500
SHORTEST_S, LONGEST_S = 1.0, 48 * 3600.0
"""Of any order with a length; each kind has its own limit below this, which the core knows."""

LENGTHS = frozenset({OrderKind.WATER, OrderKind.PAUSE, OrderKind.SERVICE, OrderKind.SOAK, OrderKind.ATTEND})
TEXTS = frozenset({OrderKind.NOTE, OrderKind.COMMISSION, OrderKind.CLEANED, OrderKind.ACKNOWLEDGE})
TEXT_NEEDED = frozenset({OrderKind.NOTE, OrderKind.COMMISSION})
LITRES = ("L", 0.0, 20_000.0)
AMOUNTS: dict[OrderKind, dict[str, tuple[str, float, float]]] = {
    OrderKind.REFILL: {"water": LITRES, "solution": LITRES},
    OrderKind.MEASURE: {
        "sump": LITRES,
        "EC": ("mS/cm", 0.0, 20.0),
        "pH": ("", 0.0, 14.0),
        "temperature": ("C", -10.0, 60.0),
    },
    OrderKind.COMMISSION: {"run_back": ("s", 0.0, 14_400.0)},
}
"""What may be entered with an order: the unit, and what can be true at all."""

DIGITS = 6
"""Behind the point, more than anything here is measured to."""


class NotAdmitted(ValueError):
    """is_doubtful: it could be true, and is taken from a person who says so again."""

    def __init__(self, reason: str, is_doubtful: bool = False) -> None:
        super().__init__(reason)
        self.is_doubtful = is_doubtful


@dataclass(frozen=True, slots=True)
class Room:
    """What the bed can hold, litres. sump_l: to its brim. tank_l: its header tank, 0 without one."""

    sump_l: float
    tank_l: float = 0.0


@dataclass(frozen=True, slots=True)
class Request:
    """An order that can be meant: finite numbers within bounds, of the right types. Raises NotAdmitted.

    seconds: for orders with a length. is_remote: it came over a network, from whoever may write there.
    """

    kind: OrderKind
    by: str
    seconds: float = 0.0
    amounts: tuple[Amount, ...] = ()
    text: str = ""
    is_renewal: bool = False
    is_remote: bool = False
    wrong_float: Input | None = None

    def __post_init__(self) -> None:
        if self.kind in LENGTHS:
            _number(self.seconds, "length", "s", SHORTEST_S, LONGEST_S)
        elif self.seconds != 0:
            raise NotAdmitted(f"{self.kind.value} takes no length")
        known = AMOUNTS.get(self.kind, {})
        for amount in self.amounts:
            if amount.name not in known:
                raise NotAdmitted(f"'{amount.name[:40]}' is none of {', '.join(known) or 'its keys'}")
            _number(amount.value, amount.name, *known[amount.name])
        if self.kind is OrderKind.MEASURE and not self.amounts:
            raise NotAdmitted("nothing was measured")
        if len(self.text) > LONGEST_TEXT or not self.text.isprintable():
            raise NotAdmitted(f"a text is one line of at most {LONGEST_TEXT} letters")
        if self.kind in TEXT_NEEDED and not self.text:
            raise NotAdmitted(f"the {self.kind.value} is empty")


def admitted(asked: Mapping[str, Any], by: str, is_remote: bool, room: Room) -> Request:
    """What a JSON object orders. is_remote: known of the sender, whatever it says itself.

    Raises NotAdmitted with a reason of one line.
    """
    kind = _kind(asked.get("do"))
    unknown = asked.keys() - _keys(kind)
    if unknown:
        raise NotAdmitted(f"{kind.value} has no '{min(unknown)[:40]}'")
    is_far = is_remote or _flag(asked, "is_remote")
    request = Request(
        kind=kind,
        by=f"{by}, by MQTT" if is_far else by,
        seconds=_length(kind, asked),
        amounts=_amounts(kind, asked.get("amounts", {})),
        text=_text(asked.get("text", "")),
        is_renewal=_flag(asked, "is_renewal"),
        is_remote=is_far,
        wrong_float=_input(asked.get("wrong_float")),
    )
    if not _flag(asked, "is_sure"):
        _doubt(request, room)
    return request


def _kind(do: object) -> OrderKind:
    try:
        return OrderKind(do)  # type: ignore[arg-type]
    except ValueError:
        name = do if isinstance(do, str) and do.isprintable() else "that"
        raise NotAdmitted(f"no such order: {name[:40]}") from None


def _keys(kind: OrderKind) -> frozenset[str]:
    keys = {"do", "is_remote", "is_sure"}
    if kind in LENGTHS:
        keys.add("seconds")
    if kind in TEXTS:
        keys.add("text")
    if kind in AMOUNTS:
        keys.add("amounts")
    if kind is OrderKind.REFILL:
        keys.add("is_renewal")
    if kind is OrderKind.COMMISSION:
        keys.add("wrong_float")
    return frozenset(keys)


def _flag(asked: Mapping[str, Any], name: str) -> bool:
    value = asked.get(name, False)
    if not isinstance(value, bool):
        raise NotAdmitted(f"{name} is true or false")
    return value


def _length(kind: OrderKind, asked: Mapping[str, Any]) -> float:
    if kind not in LENGTHS:
        return 0.0
    if "seconds" not in asked:
        raise NotAdmitted(f"{kind.value} needs seconds")
    return _number(asked["seconds"], "length", "s", SHORTEST_S, LONGEST_S)


def _input(value: object) -> Input | None:
    try:
        return None if value is None else Input(value)  # type: ignore[arg-type]
    except ValueError:
        raise NotAdmitted(f"a float is one of {', '.join(Input)}") from None


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise NotAdmitted("a text is one line in quotes")
    return value.strip()


def _amounts(kind: OrderKind, value: object) -> tuple[Amount, ...]:
    if not isinstance(value, dict):
        raise NotAdmitted('amounts are written {"pH": 5.9}')
    known = AMOUNTS.get(kind, {})
    found = []
    for name, size in value.items():
        unit, low, high = known.get(name, ("", 0.0, 0.0))
        if name not in known:
            raise NotAdmitted(f"'{name[:40]}' is none of {', '.join(known)}")
        found.append(Amount(name, round(_number(size, name, unit, low, high), DIGITS), unit))
    return tuple(found)


def _number(value: object, name: str, unit: str, low: float, high: float) -> float:
    """Compared before it becomes a float: JSON knows whole numbers of any length. NaN lies within no bounds."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise NotAdmitted(f"{name} is no number")
    if not low <= value <= high:
        given = str(value)
        given = given if len(given) <= 20 else f"{given[:17]}..."
        raise NotAdmitted(f"{name} {given} is outside {low:g} to {high:,.12g} {unit}".rstrip())
    return float(value)


def _doubt(request: Request, room: Room) -> None:
    """Refuses what the bed cannot hold: a slip of the hand, as 10,000 L for 100."""
    litres = {amount.name: amount.value for amount in request.amounts if amount.unit == "L"}
    if request.kind is OrderKind.REFILL:
        poured_l, most_l = sum(litres.values()), room.sump_l + room.tank_l
        holder = "the sump and its header tank hold" if room.tank_l else "the sump holds"
        if poured_l > most_l:
            raise NotAdmitted(f"{_litres(poured_l)} is more than {holder} ({_litres(most_l)})", is_doubtful=True)
    elif litres.get("sump", 0.0) > room.sump_l:
        raise NotAdmitted(
            f"{_litres(litres['sump'])} is more than the sump holds ({_litres(room.sump_l)})", is_doubtful=True
        )


def _litres(litres: float) -> str:
    return f"{litres:,.0f} L" if litres >= 100 else f"{litres:.3g} L"
