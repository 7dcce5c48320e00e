"""The guard's journal: what must outlive the process, as lines of text with a checksum each. Pure.

Every line is the whole memory of its moment, so that the last whole line is enough; a line that a power cut has
torn, or a card has damaged, is passed over for the one before it. Instants are by the long hand of the line's
boot.

    9f1c2b3a {"format": 1, "bed": "terrace", "boot": "...", "at": {...}, "memory": {...}}
"""

import json
from dataclasses import dataclass, replace
from enum import StrEnum
from zlib import crc32

from waaler.guard.codec import Misfit, packed, unpacked
from waaler.guard.memory import Memory, Span
from waaler.guard.messages import HoldKind, Instant

__all__ = ["FORMAT", "Found", "Health", "as_known_now", "line", "read", "with_records"]

FORMAT = 1


NEVER = Instant(0.0, 0.0, is_sure=False)


class Health(StrEnum):
    """What a start finds of the journal."""

    WHOLE = "whole"
    TORN = "torn"
    """The last line was lost or damaged: what it said is not known."""
    MISSING = "missing"
    FOREIGN = "foreign"
    """Of another bed."""
    NEWER = "newer"
    """Of a later version."""
    UNREADABLE = "unreadable"
    """The disk gives it not."""


@dataclass(frozen=True, slots=True)
class Found:
    """memory: of the last whole line, None without one. boot, at: when that was written."""

    health: Health
    memory: Memory | None = None
    boot: str = ""
    at: Instant = NEVER


@dataclass(frozen=True, slots=True)
class _Line:
    format: int
    bed: str
    boot: str
    at: Instant
    memory: Memory


def line(bed: str, boot: str, at: Instant, memory: Memory) -> bytes:
    """One line of the journal."""
    text = json.dumps(packed(_Line(FORMAT, bed, boot, at, memory)), separators=(",", ":"))
    return f"{crc32(text.encode()):08x} {text}\n".encode()


def read(data: bytes, bed: str) -> Found:
    """The last whole line of this bed's journal, whatever the bytes are."""
    if not data:
        return Found(Health.MISSING)
    lines = data.split(b"\n")
    is_torn = lines.pop() != b""
    other = Health.TORN
    for text in reversed(lines):
        found = _line(text)
        if isinstance(found, Health):
            is_torn, other = True, found
        elif found.bed != bed:
            return Found(Health.FOREIGN)
        else:
            health = Health.TORN if is_torn else Health.WHOLE
            return Found(health, found.memory, found.boot, found.at)
    return Found(other)


def _line(text: bytes) -> _Line | Health:
    """TORN for a damaged line, NEWER for a sound one of another format."""
    check, _, body = text.partition(b" ")
    try:
        if check != b"%08x" % crc32(body):
            return Health.TORN
        data = json.loads(body)
        if not isinstance(data, dict) or data.get("format") != FORMAT:
            return Health.NEWER
        found: _Line = unpacked(_Line, data)
    except (Misfit, ValueError, RecursionError):
        return Health.TORN
    return found


def as_known_now(found: Found, boot: str, now: Instant) -> Memory:
    """The memory by the long hand of the present boot; the default where nothing is known.

    Within a boot ages are exact. Across boots the time off counts only where both clocks were sure, else only the
    time that this boot has lasted: a rest seems younger then, a service longer.
    """
    memory = found.memory
    if memory is None:
        return Memory()
    if found.boot == boot:
        return _started_anew(memory, is_exact=True)
    since_s = now.long_s
    is_exact = found.at.is_sure and now.is_sure
    if is_exact:
        since_s = max(since_s, now.wall_s - found.at.wall_s)
    return _started_anew(_shifted(memory, now.long_s - since_s - found.at.long_s), is_exact)


def _shifted(memory: Memory, by_s: float) -> Memory:
    return replace(
        memory,
        spans=tuple(Span(span.started_s + by_s, span.ended_s + by_s, span.purse) for span in memory.spans),
        last_stop_s=None if memory.last_stop_s is None else memory.last_stop_s + by_s,
        holds=tuple(replace(hold, until_s=hold.until_s + by_s) for hold in memory.holds),
        ran=tuple(replace(ran, ended_s=ran.ended_s + by_s) for ran in memory.ran),
        open_run=None
        if memory.open_run is None
        else replace(memory.open_run, ended_s=memory.open_run.ended_s + by_s),
    )


def _started_anew(memory: Memory, is_exact: bool) -> Memory:
    """A run that nobody saw end, and a stop of unknown age, count as ending with the new start."""
    if memory.open_run is not None or not is_exact:
        return replace(memory, last_stop_s=None)
    return memory


def with_records(found: Found, known: Memory, records: Memory) -> Memory:
    """What the guard begins with, joined with what the database knows.

    known: of the journal, as it counts now. A whole journal is believed. Of anything less everything that either
    knows holds: locks, spans, holds, inputs that had acted, and a last stop of unknown age.
    """
    if found.health is Health.WHOLE:
        return known
    spans = known.spans + tuple(span for span in records.spans if not _is_known(span, known.spans))
    stops = [records.last_stop_s] if found.memory is None else [known.last_stop_s, records.last_stop_s]
    latest = {hold.kind: hold for hold in sorted((*known.holds, *records.holds), key=lambda hold: hold.until_s)}
    return replace(
        known,
        spans=tuple(sorted(spans, key=lambda span: span.started_s)),
        last_stop_s=None if None in stops else max(stop_s for stop_s in stops if stop_s is not None),
        locks=known.locks | records.locks,
        tripped=known.tripped | records.tripped,
        holds=tuple(latest[kind] for kind in HoldKind if kind in latest),
        seen=known.seen | records.seen,
        has_watered=known.has_watered or records.has_watered,
        last_run_id=max(known.last_run_id, records.last_run_id),
        reserved_run_id=max(known.reserved_run_id, records.reserved_run_id),
        ran=known.ran or records.ran,
    )


def _is_known(span: Span, spans: tuple[Span, ...]) -> bool:
    """Whether these already have a span that covers the middle of it."""
    middle_s = (span.started_s + span.ended_s) / 2
    return any(other.started_s - 1.0 <= middle_s <= other.ended_s + 1.0 for other in spans)
