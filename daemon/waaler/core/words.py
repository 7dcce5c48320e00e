"""The text of an alert: one line for each thing that a person asks.

What is it, since when, what did the tool do, what to do now, how long have the plants, is it safe to touch, does it
start again by itself, whom to call.

While the tray is high or the water has not run back no text says refill: a blocked drain empties the sump into the
tray.
"""

from datetime import datetime
from math import floor, inf
from zoneinfo import ZoneInfo

from waaler.bed.ledger import to_full_l
from waaler.core.standing import Words
from waaler.core.state import Stage, State
from waaler.core.sump_state import entry_at, thirsty_at, to_add
from waaler.guard.messages import Instant, Trip

__all__ = ["DRY", "UNPLUGGED", "clock_text", "compose", "may_refill", "rested_s"]

UNPLUGGED = "Safe to touch with the pump unplugged; where mains may be wet: do not, switch off at the board."
DRY = "Safe to touch: it has to do with the small voltages and the data alone."
TRAY_FULL = "The water is in the tray. Do NOT add water; free the drain first, with the pump unplugged."


def compose(state: State, at: Instant, words: Words, since_s: float) -> str:
    """The lines as they are true at this moment. since_s: when the alert was raised (long hand)."""
    lines = [
        words.what,
        f"Since {clock_text(state, at, since_s)}.",
        words.did,
        _refill(state, at) if words.refill else words.now,
        _plants(state, at) if words.is_thirsty else "",
        words.touch,
        words.again,
        _call(state),
    ]
    return "\n".join(line for line in lines if line)


def clock_text(state: State, at: Instant, long_s: float) -> str:
    """A long-hand instant as people read it: `Thu 25 Jun 14:05`."""
    return f"{_local(state, at, long_s):%a %-d %b %H:%M}"


def _local(state: State, at: Instant, long_s: float) -> datetime:
    return datetime.fromtimestamp(at.wall_s + long_s - at.long_s, ZoneInfo(state.plan.place.timezone))


def rested_s(state: State) -> float:
    """When the water of the last run is back in the sump (long hand); inf while a run is on.

    Where nobody knows when the pump last stopped, the daemon's start counts.
    """
    if state.active is not None and state.active.stage is Stage.RUNNING:
        return inf
    last_stop_s = state.last_stop_s
    if last_stop_s == -inf and state.next_run_id > 1:
        last_stop_s = state.started_s
    return last_stop_s + state.limits.run_back_s


def may_refill(state: State, now_s: float) -> bool:
    """Whether a person may be told to refill now."""
    return Trip.HIGH_TRAY not in state.trips and now_s >= rested_s(state)


def _refill(state: State, at: Instant) -> str:
    if Trip.HIGH_TRAY in state.trips:
        return TRAY_FULL
    if not may_refill(state, at.long_s):
        back_s = rested_s(state)
        when = "" if back_s == inf else f", {clock_text(state, at, back_s)}"
        return f"Wait until the water of the last run is back{when}; then look here again."
    book = state.care.book
    what = "water or solution" if book is None else f"{_amount(state, at)}{to_add(book, state.sump)}"
    return (
        f"Unplug the pump, add {what} up to the full mark, enter it with `waaler refill`, plug the pump in again."
    )


def _amount(state: State, at: Instant) -> str:
    """Rounded down, so that the sump does not overflow; empty where the level is not known."""
    book, sump = state.care.book, state.sump
    if book is None or sump is None:
        return ""
    return f"{floor(to_full_l(book, entry_at(book, sump, state.plan.place.timezone, at)))} L of "


def _plants(state: State, at: Instant) -> str:
    """How long they have, from the last full run on; at the thirst of an ordinary day of this time of the year."""
    full_s = max(state.last_full_s, state.started_s if state.last_full_s == -inf else -inf)
    book = state.care.book
    thirsty = None if book is None else thirsty_at(book, _local(state, at, full_s))
    if thirsty is None:
        return ""
    if thirsty > _local(state, at, at.long_s):
        return f"The plants have water until about {thirsty:%a %-d %b %H:%M}."
    return "The plants have used half of what the media hold: water by hand, each pot what one cycle gives it."


def _call(state: State) -> str:
    people = "; then ".join(contact.words for contact in state.care.contacts)
    return f"Call {people}." if people else ""
