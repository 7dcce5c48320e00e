"""The guard's journal in a trial: lines as its writer keeps them, and what a card gives back of them."""

from collections import deque
from math import inf
from random import Random

from waaler.guard import journal
from waaler.guard.memory import Memory
from waaler.guard.messages import Instant
from waaler.guard.state import State, memory_of
from waaler.rehearsal.play import BED

__all__ = ["Notebook"]

ALIVE_EVERY_S, STEPPED_S = 1800.0, 2.0
"""A line comes at least so often, and when the wall clock was set: ages over a power cut are known by it."""


class Notebook:
    """The last lines of the journal. chance: of the troubles that may befall it."""

    def __init__(self, chance: Random) -> None:
        self._chance = chance
        self._lines: deque[tuple[str, Instant, Memory]] = deque(maxlen=2)
        self._noted: tuple[object, ...] = ()
        self._noted_s = self._offset_s = -inf

    def note(self, boot: str, at: Instant, state: State) -> bool:
        """Adds a line whenever something of the memory changed; whether it did."""
        noted = (
            state.spans, state.locks, tuple(watch.trip for _, watch in state.watches), state.holds, state.seen,
            state.has_watered, state.last_run_id, state.reserved_run_id, state.ran, state.run and state.run.until_s,
            boot, at.is_sure,
        )  # fmt: skip
        offset_s = at.wall_s - at.long_s
        is_stepped = abs(offset_s - self._offset_s) > STEPPED_S
        if noted == self._noted and not is_stepped and at.long_s < self._noted_s + ALIVE_EVERY_S:
            return False
        self._noted, self._noted_s, self._offset_s = noted, at.long_s, offset_s
        self._lines.append((boot, at, memory_of(state)))
        return True

    def bytes(self, troubles: set[str]) -> bytes:
        """What a start reads, with these troubles."""
        bed = "another" if "journal-foreign" in troubles else BED
        lines = [journal.line(bed, boot, at, memory) for boot, at, memory in self._lines]
        if "journal-lost" in troubles:
            return b""
        if "journal-torn" in troubles:
            lines[-1] = lines[-1][: self._chance.randrange(1, len(lines[-1]))]
        data = bytearray(b"".join(lines))
        if "journal-damaged" in troubles:
            place = len(data) - 1 - self._chance.randrange(len(lines[-1]))
            data[place] ^= 1 << self._chance.randrange(8)
        return bytes(data)
