"""Why one run, skip or refusal was as it was: everything that the records know of it."""

from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from waaler.records.reader import Reader, Step
from waaler.records.rows import RunRow
from waaler.records.times import local
from waaler.report.words import clock, length, outcome_words

__all__ = ["Fact", "why_of"]

READINGS_BEFORE_S = 1800.0
AROUND_S = 3600.0
HINTS = {
    "skipped": "A cycle is left out only if every valid sensor says wet; never the day's first.",
    "lengthened": "A dry reading lengthens a cycle by at most a half; the guard's longest run still holds.",
    "refused": "The guard refuses a start while a limit or an input stands against it; the plan goes on.",
    "cut short": "The guard cut the run; the plan goes on once the cause is gone.",
    "taken away": "Somebody edited the plan before its time, and the new plan does not have it.",
    "missed": "Nothing could run at its time: power off, paused or in service.",
    "interrupted": "The daemon ended during the run; it counts to its deadline, since nobody saw it stop.",
    "stopped": "A person ended this run; the plan went on.",
}


@dataclass(frozen=True, slots=True)
class Fact:
    """A line: what it is about, and what is known."""

    name: str
    text: str


def why_of(reader: Reader, run: RunRow, zone: ZoneInfo) -> list[Fact]:
    return [*_of_run(run, zone), *_readings(reader, run, zone), *_around(reader, run, zone)]


def _of_run(run: RunRow, zone: ZoneInfo) -> Iterator[Fact]:
    words = outcome_words(run)
    yield Fact("what", f"{run.cause.value}, {words}" + (f", by {run.by}" if run.by else ""))
    if run.key is not None:
        yield Fact("cycle", f"{run.key.window}, number {run.key.n} of {run.key.day:%a %-d %b %Y}")
        yield Fact("planned", f"{_moment(run.key.start_s, zone)} for {length(run.planned_s)}")
    unsure = "" if run.is_sure else "; the clock was unsure"
    yield Fact("decided", f"{_moment(run.decided_at_s, zone)}, {length(run.asked_s)} asked for{unsure}")
    yield Fact("because", run.reason)
    if run.pulses > 1:
        yield Fact("pulse", f"{run.pulse} of {run.pulses}")
    if run.started_at_s is not None:
        granted = "" if run.granted_s is None else f", {length(run.granted_s)} granted"
        yield Fact("started", f"{_moment(run.started_at_s, zone)}{granted}")
    if run.ended_at_s is not None:
        yield Fact("ended", f"{_moment(run.ended_at_s, zone)}, pump on for {length(run.actual_s)}")
    if run.result_reason:
        yield Fact("ended because", run.result_reason)
    if words in HINTS:
        yield Fact("the rule", HINTS[words])


def _readings(reader: Reader, run: RunRow, zone: ZoneInfo) -> Iterator[Fact]:
    """The last reading of each sensor before the decision; minutes while they are kept, else ten of them."""
    until_s, since_s = run.decided_at_s + 1, run.decided_at_s - READINGS_BEFORE_S
    rows = reader.samples(since_s, until_s, Step.MINUTE) or reader.samples(since_s, until_s, Step.TEN_MINUTES)
    for row in {row.name: row for row in rows}.values():
        unit = "" if row.unit == "1" else f" {row.unit}"
        yield Fact(row.name, f"{row.mean:.3g}{unit} at {clock(row.at_s, zone)}")


def _around(reader: Reader, run: RunRow, zone: ZoneInfo) -> Iterator[Fact]:
    since_s, until_s = run.when_s - AROUND_S, run.when_s + AROUND_S
    for trip in reader.trips(since_s, until_s):
        yield Fact(f"trip {clock(trip.began_at_s, zone)}", trip.reason)
    for told in reader.tellings(since_s, until_s):
        yield Fact(f"{told.what.value} {clock(told.at_s, zone)}", told.text)
    for deed in reader.deeds(since_s, until_s):
        by = f" by {deed.by}" if deed.by else ""
        yield Fact(f"{deed.what} {clock(deed.at_s, zone)}", f"{deed.text}{by}")


def _moment(wall_s: float, zone: ZoneInfo) -> str:
    return f"{local(wall_s, zone):%a %-d %b %Y, %H:%M:%S}"
