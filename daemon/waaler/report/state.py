"""What a bed does now, as its daemon last wrote it down; or that its daemon no longer writes."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from waaler.core.facts import Act
from waaler.core.status import CALM, BedState, Present, moment_words, state_words
from waaler.records.reader import Reader
from waaler.report.bed import Bed

__all__ = ["Told", "read_state"]

NO_LIFE_S = 1500.0
"""The daemon notes every ten minutes that it lives: two and a half of these."""

END_LATE = timedelta(seconds=10)
"""How long the end of a run may take to reach the disk."""


@dataclass(frozen=True, slots=True)
class Told:
    """state: in a few words; detail: why, or how long. is_alarm: a person should look at the bed.

    present None: the daemon says nothing of the present, and nothing waters the bed that anybody knows of.
    """

    state: str
    detail: str
    is_alarm: bool
    present: Present | None = None


def read_state(reader: Reader, bed: Bed, now_s: float) -> Told:
    now = bed.local(now_s)
    silence = _silence(reader, bed, now_s, now)
    if silence is not None:
        return silence
    row = reader.present()
    return (
        Told("not known", "the daemon has told nothing yet", True)
        if row is None
        else _told(reader, row.present, now)
    )


def _told(reader: Reader, present: Present, now: datetime) -> Told:
    state, words = str(present.state), state_words(present, now)
    if present.run is not None and now - present.run.until > END_LATE:
        return Told(state, f"{words}; nothing later is in the records", True, present)
    if present.state in (BedState.LOCKED, BedState.STOPPED):
        trips = [trip for trip in reader.open_trips() if trip.stops_the_plan]
        since = datetime.fromtimestamp(trips[-1].began_at_s, now.tzinfo) if trips else None
        words = words if since is None else f"since {moment_words(since, now)}: {words}"
    return Told(state, words, present.state not in CALM, present)


def _silence(reader: Reader, bed: Bed, now_s: float, now: datetime) -> Told | None:
    """A daemon that was stopped, or that no longer writes."""
    last = reader.last_deed(Act.START, Act.STOP)
    if last is None:
        return Told("the daemon is not running", "it has not been started yet; nothing waters this bed", True)
    if last.what == "stop":
        since = moment_words(bed.local(last.at_s), now)
        return Told("the daemon is not running", f"since {since}; nothing waters this bed", True)
    alive_s = max(reader.alive_s() or last.at_s, last.at_s)
    if now_s - alive_s > NO_LIFE_S:
        since = moment_words(bed.local(alive_s), now)
        return Told("no sign of the daemon", f"since {since}: look at the Pi and its log", True)
    return None
