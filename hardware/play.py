"""Plays a circuit over time: which nets are live, what its coils move, when the pump runs.

A load counts as energised when its two ends are joined to the two poles of one source through closed contacts. A
load itself joins nothing, and a diode the right way round carries nothing; a test holds the net lists to both.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from hardware.circuit import CONDUCTS, DEMAND, LOADS, Circuit, Function, Kind

__all__ = ["Case", "Change", "Spell", "Trace", "live", "play"]

REACTS_S = 0.05
"""How long a relay takes to move (common practice, no source). No result in whole seconds hangs on it."""

BEGINS_S = -3600.0
"""All stands ready an hour before the first change: a limiter that counts too early has long opened by then."""

Spell = tuple[float, float | None]
"""From, to in seconds; None: still so at the end."""


@dataclass(frozen=True, slots=True)
class Change:
    """From at_s on, `what` is closed (a contact, fuse or position), up (S2) or there (the supply), or it is not."""

    at_s: float
    what: str
    holds: bool


@dataclass(frozen=True, slots=True)
class Case:
    """What happens, and what follows (so), in words.

    welded: devices whose contacts stay closed. broken: devices whose coil does nothing.
    """

    words: str
    changes: tuple[Change, ...] = ()
    welded: frozenset[str] = frozenset()
    broken: frozenset[str] = frozenset()
    so: str = ""


@dataclass(slots=True)
class Trace:
    """When there was demand, when K3's contact was closed, when pump and sensed supply were live."""

    spells: dict[str, list[Spell]] = field(default_factory=dict)

    def note(self, now_s: float, name: str, is_on: bool) -> None:
        found = self.spells.setdefault(name, [])
        was_on = bool(found) and found[-1][1] is None
        if is_on and not was_on:
            found.append((now_s, None))
        elif was_on and not is_on:
            found[-1] = (found[-1][0], now_s)


def play(circuit: Circuit, case: Case, limit_s: float, until_s: float = 3600.0) -> Trace:
    """Steps from one change, or one movement of a relay, to the next."""
    trace, now_s, moved, since_s = Trace(), BEGINS_S, frozenset[str](), None
    while now_s <= until_s:
        closed = _given(case, now_s) | moved | case.welded
        energised = live(circuit, closed) - {f"{device}:A1-A2" for device in case.broken}
        _note(trace, now_s, circuit, closed, energised)
        since_s = (now_s if since_s is None else since_s) if "K3:A1-A2" in energised else None
        moves = _moves(circuit, energised, since_s, now_s, limit_s)
        if moves != moved:
            moved, now_s = moves, now_s + REACTS_S
        else:
            now_s = _next_s(case, now_s, since_s, limit_s, until_s)
    return trace


def live(circuit: Circuit, closed: frozenset[str]) -> frozenset[str]:
    """Names of the loads that have their supply, and of the nets that are joined to a source's first pole.

    Raises:
        ValueError: both poles of a source are joined.
    """
    if "supply" not in closed:
        return frozenset()
    joined = _joined(circuit, closed)
    found = set()
    for first, second in circuit.sources:
        plus, minus = joined[circuit.net_of(first) or ""], joined[circuit.net_of(second) or ""]
        if plus == minus:
            raise ValueError(f"{first} and {second} are joined: a short circuit")
        found |= {net for net, group in joined.items() if net and group == plus}
        for part in circuit.parts:
            if part.kind in LOADS:
                ends = {joined[circuit.net_of(end) or ""] for end in part.terminals}
                found |= {part.name} if ends == {plus, minus} else set()
    return frozenset(found)


def _joined(circuit: Circuit, closed: frozenset[str]) -> dict[str, str]:
    """Each net's group: nets with closed contacts between them share one. A loose end is the net ''."""
    group = {net: net for net in (*circuit.nets, "")}
    for part in circuit.parts:
        if part.kind in CONDUCTS and _is_closed(part.ends, part.key, closed):
            one, other = (circuit.net_of(end) for end in part.terminals)
            if one and other:
                old, new = group[one], group[other]
                group = {net: new if at == old else at for net, at in group.items()}
    return group


def _is_closed(ends: tuple[str, ...], key: str, closed: frozenset[str]) -> bool:
    """A timer's 15-16 is the one contact that is closed at rest."""
    return (key in closed) != (ends == ("15", "16"))


def _given(case: Case, now_s: float) -> frozenset[str]:
    """What stands ready, and what the case has changed by now."""
    holds = dict.fromkeys(("supply", "S1 AUTO", "S2", "F1", "F2", "Q1", "K4"), True)
    for change in sorted(case.changes, key=lambda change: change.at_s):
        if change.at_s <= now_s:
            holds[change.what] = change.holds
    return frozenset(name for name, is_so in holds.items() if is_so)


def _moves(
    circuit: Circuit, energised: Iterable[str], since_s: float | None, now_s: float, limit_s: float
) -> frozenset[str]:
    """The relays whose contacts a coil moves now."""
    coils = {part.device for part in circuit.parts if part.kind is Kind.COIL and part.name in energised}
    if since_s is not None:
        is_over = now_s >= since_s + limit_s
        coils |= {"K3"} if is_over == (circuit.timer is Function.ON_DELAY) else set()
    return frozenset(coils)


def _next_s(case: Case, now_s: float, since_s: float | None, limit_s: float, until_s: float) -> float:
    ahead = [change.at_s for change in case.changes]
    ahead += [since_s + limit_s] if since_s is not None else []
    return min((at_s for at_s in ahead if at_s > now_s), default=until_s + 1.0)


def _note(trace: Trace, now_s: float, circuit: Circuit, closed: frozenset[str], energised: frozenset[str]) -> None:
    trace.note(now_s, "demand", DEMAND in energised)
    trace.note(now_s, "K3", "K3" in closed)
    for part in circuit.parts:
        if part.kind in (Kind.MOTOR, Kind.SENSED):
            trace.note(now_s, "pump" if part.kind is Kind.MOTOR else "sensed", part.name in energised)
