"""The journal gives back what it was given, whatever a power cut, a card or a person has done to its bytes."""

import json
from dataclasses import replace
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.guard.desk import Desk

from waaler.guard import journal
from waaler.guard.journal import Found, Health
from waaler.guard.memory import Memory, Ran, Span
from waaler.guard.messages import Ended, Hold, HoldKind, Input, Instant, Level, Purse, Trip
from waaler.guard.state import begin, memory_of

AT = Instant(5000.0, 1_800_005_000.0)
LATER_S = 7200.0
"""Between the last line and the next start, power off for most of it."""

OLD = Memory(last_run_id=3, locks=frozenset({Trip.OVERRUN}))
NEW = Memory(
    spans=(Span(4000.0, 4120.0), Span(4500.0, 4510.0, Purse.SPARE)),
    last_stop_s=4510.0,
    locks=frozenset({Trip.OVERRUN, Trip.FLOW_WHILE_OFF}),
    tripped=frozenset({(Input.TRAY_HIGH, Trip.HIGH_TRAY)}),
    holds=(Hold(HoldKind.SERVICE, 12_600.0, "ann"), Hold(HoldKind.SOAK, 90_000.0, "ben", 900.0)),
    seen=frozenset({(Input.SUMP_LOW, Level.BAD)}),
    has_watered=True,
    last_run_id=4,
    reserved_run_id=9,
    ran=(Ran(4510.0, Ended(4, 10.0, "ran its time", has_flowed=True), Purse.SPARE, 10.0),),
)


def line(memory: Memory, bed: str = "terrace") -> bytes:
    return journal.line(bed, "boot-a", AT, memory)


BOTH = line(OLD) + line(NEW)
FINITE = st.floats(-1e9, 1e9)


# --- what cannot be believed ------------------------------------------------------------------


@pytest.mark.parametrize("length", range(len(BOTH)))
def test_torn_at_any_byte_the_line_before_counts_and_the_loss_is_known(length: int) -> None:
    found = journal.read(BOTH[:length], "terrace")

    first = len(line(OLD))
    if length == 0:
        assert found == Found(Health.MISSING)
    elif length < first:
        assert found == Found(Health.TORN)
    else:
        assert found.memory == OLD
        assert found.health is (Health.WHOLE if length == first else Health.TORN)


@pytest.mark.parametrize("bit", [0x01, 0x20, 0x80])
def test_damaged_at_any_byte_nothing_is_believed_that_was_never_written(bit: int) -> None:
    between = len(line(OLD)) - 1
    for place in range(len(BOTH)):
        damaged = bytearray(BOTH)
        damaged[place] ^= bit
        found = journal.read(bytes(damaged), "terrace")

        assert found.memory in (OLD, NEW) or (place == between and found == Found(Health.TORN))
        if place >= len(line(OLD)):
            assert found.memory == OLD
            assert found.health is Health.TORN


@given(st.binary(max_size=300))
def test_any_bytes_at_all_are_read_without_an_error(data: bytes) -> None:
    assert journal.read(data, "terrace").memory is None
    assert journal.read(BOTH + data, "terrace").memory in (OLD, NEW)


def test_the_journal_of_another_bed_says_nothing() -> None:
    assert journal.read(line(NEW, bed="roof"), "terrace") == Found(Health.FOREIGN)
    assert journal.read(line(OLD) + line(NEW, bed="roof"), "terrace") == Found(Health.FOREIGN)


def sound(body: object) -> bytes:
    text = json.dumps(body)
    return f"{crc32(text.encode()):08x} {text}\n".encode()


def test_a_line_of_a_later_version_is_known_for_one_and_the_line_before_counts() -> None:
    newer = sound({"format": 2, "anything": []})

    assert journal.read(newer, "terrace") == Found(Health.NEWER)
    found = journal.read(line(OLD) + newer, "terrace")
    assert (found.health, found.memory) == (Health.TORN, OLD)


@pytest.mark.parametrize(
    "body", [5, [], {"format": 1}, {"format": 1, "bed": "terrace", "memory": {"locks": ["x"]}}]
)
def test_a_sound_line_that_makes_no_sense_counts_as_damaged(body: object) -> None:
    found = journal.read(line(OLD) + sound(body), "terrace")

    assert found.memory == OLD
    assert found.health is Health.TORN


# --- what comes back --------------------------------------------------------------------------


def test_the_last_whole_line_comes_back_as_it_was() -> None:
    assert journal.read(BOTH, "terrace") == Found(Health.WHOLE, NEW, "boot-a", AT)


INPUTS, TRIPS = st.sampled_from(Input), st.sampled_from(Trip)
SPANS = st.builds(Span, FINITE, FINITE, st.sampled_from(Purse))
HOLDS = st.builds(Hold, st.sampled_from(HoldKind), FINITE, st.text(max_size=9), FINITE)
ENDED = st.builds(
    Ended, st.integers(0), FINITE, st.text(max_size=9), st.none() | TRIPS, *(st.none() | st.booleans(),) * 2
)
RAN = st.builds(Ran, FINITE, ENDED, st.sampled_from(Purse), FINITE)
MEMORIES = st.builds(
    Memory,
    spans=st.lists(SPANS, max_size=3).map(tuple),
    last_stop_s=st.none() | FINITE,
    locks=st.frozensets(TRIPS),
    tripped=st.frozensets(st.tuples(INPUTS, TRIPS)),
    holds=st.lists(HOLDS, max_size=3).map(tuple),
    seen=st.frozensets(st.tuples(INPUTS, st.sampled_from(Level))),
    has_watered=st.booleans(),
    last_run_id=st.integers(0),
    reserved_run_id=st.integers(0),
    ran=st.lists(RAN, max_size=3).map(tuple),
    open_run=st.none() | RAN,
)


@given(MEMORIES)
def test_any_memory_comes_back_as_it_was(memory: Memory) -> None:
    found = journal.read(line(OLD) + line(memory), "terrace")

    assert found == Found(Health.WHOLE, memory, "boot-a", AT)


# --- by the hand of the present boot ----------------------------------------------------------


def known(boot: str = "boot-b", now: Instant = AT, memory: Memory = NEW, was_sure: bool = True) -> Memory:
    found = Found(Health.WHOLE, memory, "boot-a", replace(AT, is_sure=was_sure))
    return journal.as_known_now(found, boot, now)


def test_within_a_boot_every_age_is_exact_whatever_the_wall_clock_says() -> None:
    now = Instant(AT.long_s + 5.0, 0.0, is_sure=False)

    assert known("boot-a", now) == NEW


def test_across_boots_the_time_off_counts_where_both_clocks_were_sure() -> None:
    memory = known(now=Instant(40.0, AT.wall_s + LATER_S))

    by_s = 40.0 - LATER_S - AT.long_s
    assert memory.spans == (Span(4000.0 + by_s, 4120.0 + by_s), Span(4500.0 + by_s, 4510.0 + by_s, Purse.SPARE))
    assert memory.last_stop_s == 4510.0 + by_s
    assert [hold.until_s for hold in memory.holds] == [12_600.0 + by_s, 90_000.0 + by_s]
    assert memory.ran[0].ended_s == 4510.0 + by_s
    assert (memory.locks, memory.tripped, memory.seen) == (NEW.locks, NEW.tripped, NEW.seen)


@pytest.mark.parametrize(("is_sure", "was_sure"), [(False, True), (True, False)])
def test_across_boots_with_an_unsure_clock_only_the_time_of_this_boot_has_passed(
    is_sure: bool, was_sure: bool
) -> None:
    memory = known(now=Instant(40.0, AT.wall_s + LATER_S, is_sure), was_sure=was_sure)

    left_s = NEW.holds[0].until_s - AT.long_s
    assert memory.last_stop_s is None, "the start counts as the stop"
    assert memory.spans[1].ended_s == 4510.0 - AT.long_s
    assert memory.holds[0].until_s == left_s, "a service is rather too long than too short"


def test_a_sure_clock_that_was_set_back_makes_nothing_younger_than_this_boot() -> None:
    memory = known(now=Instant(40.0, AT.wall_s - 86_400.0))

    assert memory.last_stop_s == 4510.0 - AT.long_s


def test_a_run_that_nobody_saw_end_counts_to_its_deadline_and_the_start_is_its_stop() -> None:
    desk = Desk().ready()
    desk.ask(120)
    desk.pass_s(20)
    written = memory_of(desk.state)
    assert written.open_run is not None
    assert written.open_run.ended.seconds == 120.0

    found = Found(Health.WHOLE, written, "boot", Instant(desk.long_s, desk.wall_s))
    memory = journal.as_known_now(found, "boot", Instant(desk.long_s + 5.0, desk.wall_s))
    guard = begin(desk.limits, memory, desk.long_s + 5.0)

    assert guard.last_stop_s == desk.long_s + 5.0
    assert [span.ended_s - span.started_s for span in guard.spans] == [120.0]


def test_nothing_found_is_a_first_start() -> None:
    assert journal.as_known_now(Found(Health.MISSING), "boot", AT) == Memory()


# --- with the records -------------------------------------------------------------------------

RECORDS = Memory(
    spans=(Span(3000.0, 3060.0), Span(4000.4, 4120.3)),
    last_stop_s=4600.0,
    locks=frozenset({Trip.FLOW_WHILE_OFF}),
    tripped=frozenset({(Input.SUMP_LOW, Trip.NOT_READ)}),
    holds=(Hold(HoldKind.SERVICE, 5100.0, "ann"), Hold(HoldKind.PAUSE, 5050.0, "cleo")),
    seen=frozenset({(Input.TRAY_HIGH, Level.GOOD)}),
    last_run_id=12,
    reserved_run_id=12,
)


def test_a_whole_journal_is_believed_alone() -> None:
    assert journal.with_records(Found(Health.WHOLE, NEW), NEW, RECORDS) == NEW


def test_beside_a_journal_that_is_not_whole_everything_that_either_knows_holds() -> None:
    memory = journal.with_records(Found(Health.TORN, NEW), NEW, RECORDS)

    assert memory.spans == (RECORDS.spans[0], *NEW.spans), "a run that both know counts once"
    assert memory.last_stop_s == 4600.0
    assert memory.locks == {Trip.OVERRUN, Trip.FLOW_WHILE_OFF}
    assert memory.tripped == NEW.tripped | RECORDS.tripped
    assert [(hold.kind, hold.until_s) for hold in memory.holds] == [
        (HoldKind.SERVICE, 12_600.0),
        (HoldKind.PAUSE, 5050.0),
        (HoldKind.SOAK, 90_000.0),
    ]
    assert memory.seen == NEW.seen | RECORDS.seen
    assert memory.has_watered
    assert (memory.last_run_id, memory.reserved_run_id) == (12, 12)


def test_without_a_journal_the_records_are_all_that_is_known() -> None:
    memory = journal.with_records(Found(Health.MISSING), Memory(), RECORDS)

    assert replace(memory, holds=()) == replace(RECORDS, holds=())
    assert set(memory.holds) == set(RECORDS.holds)


@pytest.mark.parametrize("who", ["journal", "records"])
def test_a_run_that_either_left_open_makes_the_start_its_stop_whatever_the_other_says(who: str) -> None:
    """A stop of unknown age is None: of what nobody saw end, no earlier stop may count as the last."""
    unknown_s = None
    known = replace(NEW, last_stop_s=unknown_s) if who == "journal" else NEW
    records = replace(RECORDS, last_stop_s=unknown_s) if who == "records" else RECORDS

    memory = journal.with_records(Found(Health.TORN, known), known, records)

    assert memory.last_stop_s is None
