"""Holds: a person keeps runs away for a time. They are refused here, whatever anybody else still has in a queue."""

from dataclasses import replace

from waaler.guard.ending import Step, end
from waaler.guard.messages import BeginHold, EndHolds, Held, Hold, HoldKind, HoldOver, Purse, Stop, Stopped
from waaler.guard.state import State

__all__ = ["OWN_PURSE", "allowance", "begin_hold", "end_holds", "forbids", "look", "stop"]

OWN_PURSE = {HoldKind.ATTENDED: Purse.ATTENDED, HoldKind.SOAK: Purse.SOAK}
"""The runs that a hold is about; a service and a pause have none."""

CUTTING = frozenset({HoldKind.SERVICE, HoldKind.PAUSE})
ORDER = tuple(HoldKind)


def begin_hold(state: State, message: BeginHold) -> Step:
    """Takes the hold. One of the same kind that stands already is lengthened, never shortened."""
    asked = message.hold
    standing = next((hold for hold in state.holds if hold.kind is asked.kind), None)
    if standing is not None:
        until_s, most_s = max(standing.until_s, asked.until_s), max(standing.most_s, asked.most_s)
        asked = replace(standing if standing.until_s >= asked.until_s else asked, until_s=until_s, most_s=most_s)
    others = [hold for hold in state.holds if hold.kind is not asked.kind]
    holds = tuple(sorted((*others, asked), key=lambda hold: ORDER.index(hold.kind)))
    state = replace(state, holds=holds)
    ended: Step = end(state, f"{asked.kind.value} by {asked.by}") if asked.kind in CUTTING else (state, ())
    return ended[0], (*ended[1], Held(asked, message.order_id))


def end_holds(state: State, message: EndHolds) -> Step:
    """A person ends all of them; a run of theirs ends too."""
    over = tuple(HoldOver(hold.kind, message.by, message.order_id) for hold in state.holds)
    own = {OWN_PURSE.get(hold.kind) for hold in state.holds}
    state = replace(state, holds=())
    if state.run is None or state.run.purse not in own:
        return state, over
    state, ended = end(state, f"ended by {message.by}")
    return state, ended + over


def stop(state: State, message: Stop) -> Step:
    """Ends the run in progress; what was decided on before this moment is refused from now on."""
    state = replace(state, stopped_s=state.now_s, stopped_by=message.by)
    state, ended = end(state, f"stopped by {message.by}")
    return state, (*ended, Stopped(message.by))


def look(state: State) -> Step:
    """Lets go of the holds whose time is over."""
    over = tuple(hold for hold in state.holds if not state.now_s < hold.until_s)
    if not over:
        return state, ()
    left = tuple(hold for hold in state.holds if hold not in over)
    return replace(state, holds=left), tuple(HoldOver(hold.kind) for hold in over)


def forbids(hold: Hold, purse: Purse) -> bool:
    """Whether this hold keeps such a run away. A soak lets a person water by hand."""
    if hold.kind is HoldKind.SOAK:
        return purse not in (Purse.SOAK, Purse.SPARE)
    return OWN_PURSE.get(hold.kind) is not purse


def allowance(state: State, purse: Purse) -> Hold | None:
    """The hold that grants such runs their time; None for a purse of the plan, or where none stands."""
    return next((hold for hold in state.holds if OWN_PURSE.get(hold.kind) is purse), None)
