"""Before a bed waters by itself for the first time, its protective inputs must have been seen in both states.

An inverted or stuck float is the commonest mistake of a new bed, and shows only when somebody moves it.
"""

from dataclasses import replace

from waaler.core.turn import Turn
from waaler.guard.messages import Disarm, Seen

__all__ = ["REFUSAL", "doubt", "see"]

REFUSAL = "not commissioned yet: the floats were not seen in both states"


def see(turn: Turn, seen: Seen) -> None:
    """Strikes a state off the list; with the last one the bed may water."""
    mark = (seen.input, seen.level)
    if mark not in turn.state.proving.unproven:
        return
    turn.put(replace(turn.state.proving, unproven=turn.state.proving.unproven - {mark}))
    turn.deed("input-seen", f"{seen.input.value} {seen.level.value}")
    if not turn.state.proving.unproven:
        turn.deed("armed", "every protective input was seen in both states; the plan may water by itself")


def doubt(turn: Turn) -> None:
    """The commissioning found a float wrong: whatever was seen of the floats proves nothing."""
    if turn.state.proving.must_prove:
        turn.put(replace(turn.state.proving, unproven=turn.state.proving.must_prove))
        turn.tell_guard(Disarm())
        turn.deed("disarmed", "a float is wrong; every state is to be seen again")
