"""Two relays in series: the self-test before the first run of a day, and what it finds."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.guard.desk import LIMITS, Desk
from tests.guard.sabotages import SABOTAGES, Sabotage, sabotaged

from waaler.guard import contacts
from waaler.guard.messages import (
    Alone,
    Clear,
    Contact,
    Cut,
    Ended,
    Flow,
    Granted,
    Input,
    Level,
    LockLifted,
    NewLimits,
    Purse,
    ReadBack,
    Refused,
    Relay,
    Trip,
    TripEnded,
    Tripped,
)  # fmt: skip

PAIR = replace(LIMITS, has_cutoff=True, has_read_back=True)
PAIR_WITH_METER = replace(LIMITS, has_cutoff=True, normal_flow_l_per_min=10.0)


def drives(desk: Desk) -> list[object]:
    return [action for _, action in desk.said if isinstance(action, Relay | Alone)]


def last_end(desk: Desk) -> Ended:
    ended = desk.heard(Ended)[-1][1]
    assert isinstance(ended, Ended)
    return ended


# --- what is found ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("alone_s", "contact"), [(1.0, Contact.CUTOFF), (4.0, Contact.MAIN)], ids=["main alone", "cut-off alone"]
)
def test_s1_a_supply_that_is_live_with_one_contact_open_locks_and_names_it(
    alone_s: float, contact: Contact
) -> None:
    desk = Desk(limits=PAIR).ready()
    desk.ask(120)
    desk.pass_s(alone_s)
    desk.tell(ReadBack(True))
    desk.pass_s(3)

    assert desk.heard(Tripped)[-1][1] == Tripped(Trip.OVERRUN, f"locked: {contact.value} does not open", True)
    assert drives(desk)[-1] == Relay(on=False)
    assert Relay(on=True) not in drives(desk)
    assert last_end(desk).trip is Trip.OVERRUN
    assert last_end(desk).reason == f"locked: {contact.value} does not open"
    desk.tell(ReadBack(False))
    desk.pass_s(400)
    assert isinstance(desk.ask()[-1], Refused)


def test_s1_water_that_moves_with_one_contact_open_locks() -> None:
    desk = Desk(limits=PAIR_WITH_METER).ready()
    desk.ask(120)
    desk.pass_s(2.5)
    desk.tell(Flow(3.0))
    desk.pass_s(1)

    assert desk.heard(Tripped)[-1][1] == Tripped(
        Trip.FLOW_WHILE_OFF, "locked: the cut-off relay does not open", is_locked=True
    )


def test_a_little_flow_or_an_old_reading_proves_nothing() -> None:
    desk = Desk(limits=PAIR_WITH_METER).ready()
    desk.tell(Flow(9.0))
    desk.ask(120)
    desk.pass_s(4)
    desk.tell(Flow(1.9))
    desk.pass_s(3)

    assert desk.is_on


# --- what is done -----------------------------------------------------------------------------


def test_before_the_first_run_each_contact_is_energised_alone_and_then_both() -> None:
    desk = Desk(limits=PAIR).ready()
    desk.ask(60)
    assert drives(desk)[-1] == Alone(Contact.MAIN)
    desk.pass_s(3)
    assert drives(desk)[-1] == Alone(Contact.CUTOFF)
    desk.pass_s(3)
    assert desk.is_on
    desk.tell(ReadBack(True))
    desk.pass_s(60)

    assert drives(desk) == [Alone(Contact.MAIN), Alone(Contact.CUTOFF), Relay(on=True), Relay(on=False)]
    assert desk.heard(Ended)[-1][1] == Ended(1, 66.0, "ran its time", was_live=True)


def test_the_second_run_of_the_day_and_a_bed_that_cannot_tell_go_without() -> None:
    desk = Desk(limits=PAIR).ready()
    desk.ask(60)
    desk.pass_s(66 + 300)
    desk.ask(60)
    assert desk.is_on
    blind = Desk(limits=replace(LIMITS, has_cutoff=True)).ready()
    blind.ask(60)

    assert blind.is_on


def test_a_day_later_and_after_a_start_it_is_tested_again() -> None:
    desk = Desk(limits=PAIR).ready()
    desk.ask(60)
    desk.pass_s(20 * 3600 + 5.9)
    desk.ask(60)
    assert desk.alone is None
    desk.pass_s(360)
    desk.ask(60)

    assert desk.alone is Contact.MAIN


def test_s2_s3_the_test_counts_to_the_run_and_never_passes_longest_run_or_the_days_cap() -> None:
    desk = Desk(limits=PAIR).ready()
    granted = [action for action in desk.ask(598) if isinstance(action, Granted)]
    assert granted[0].until_s - desk.long_s == 600
    tight = Desk(limits=replace(PAIR, most_per_day_s=65.0)).ready()

    assert isinstance(tight.ask(60)[-1], Refused)


def test_a_cut_a_bad_level_or_the_deadline_ends_the_test_too() -> None:
    for message in (Cut("stopped by ann"), None):
        desk = Desk(limits=PAIR).ready()
        desk.ask(60)
        desk.pass_s(1)
        if message is not None:
            desk.tell(message)
        else:
            desk.read(Level.NOT_READ, Input.SUMP_LOW)
        assert drives(desk) == [Alone(Contact.MAIN), Relay(on=False)]
    short = Desk(limits=replace(PAIR, longest_run_s=5.0)).ready()
    short.ask(60)
    short.pass_s(5)
    assert drives(short) == [Alone(Contact.MAIN), Alone(Contact.CUTOFF), Relay(on=False)]


def test_a_released_lock_is_followed_by_a_new_test() -> None:
    desk = Desk(limits=PAIR).ready()
    desk.ask(60)
    desk.tell(ReadBack(True))
    desk.pass_s(3)
    desk.tell(ReadBack(False))
    assert desk.tell(Clear("ann")) == [LockLifted(Trip.OVERRUN, "ann")]
    desk.pass_s(400)
    desk.ask(60, Purse.PLAN)

    assert desk.alone is Contact.MAIN


def test_no_flow_is_judged_from_the_end_of_the_test_on() -> None:
    desk = Desk(limits=PAIR_WITH_METER).ready()
    desk.ask(120)
    desk.pass_s(35.9)
    assert desk.is_on
    desk.pass_s(0.2)

    assert last_end(desk).trip is Trip.NO_FLOW


def test_a_run_tells_whether_water_and_supply_were_seen_and_the_test_itself_shows_neither() -> None:
    both = replace(PAIR, normal_flow_l_per_min=10.0, flow_within_s=300.0)
    for flows, is_live, seen in (([0.0], False, (False, False)), ([0.01, 0.0], True, (True, True))):
        desk = Desk(limits=both).ready()
        desk.ask(60)
        desk.pass_s(1)
        desk.tell(Flow(1.0))  # in the test: less than shows a welded contact, and no watering yet
        desk.pass_s(5.1)
        for flow in flows:
            desk.tell(Flow(flow))
        desk.tell(ReadBack(is_live))
        desk.tell(ReadBack(False))
        desk.pass_s(60)
        assert (last_end(desk).has_flowed, last_end(desk).was_live) == seen


def test_the_test_is_due_again_exactly_20_h_after_it_was_passed() -> None:
    desk = Desk(limits=PAIR).ready()
    desk.ask(60)
    passed_s = desk.long_s + 6.0
    desk.pass_s(passed_s + 20 * 3600 - desk.long_s)
    desk.ask(60)

    assert desk.alone is Contact.MAIN


@pytest.mark.parametrize(
    ("after_s", "l_per_min", "is_locked"),
    [(1.5, 3.0, False), (1.6, 3.0, True), (2.9, 2.0, False), (2.9, 2.1, True), (4.4, 3.0, False), (4.6, 3.0, True)],
)
def test_flow_of_the_stages_second_half_above_a_fifth_of_normal_shows_it(
    after_s: float, l_per_min: float, is_locked: bool
) -> None:
    desk = Desk(limits=PAIR_WITH_METER).ready()
    desk.ask(120)
    desk.pass_s(after_s)
    desk.tell(Flow(l_per_min))
    desk.pass_s(6.1 - after_s)

    assert bool(desk.state.locks) is is_locked


def test_a_meter_that_never_read_and_one_of_a_bed_without_its_normal_flow_show_nothing() -> None:
    silent = Desk(limits=PAIR_WITH_METER).ready()
    silent.ask(120)
    silent.pass_s(6.1)
    assert silent.is_on
    other = Desk(limits=PAIR).ready()
    other.ask(120)
    other.pass_s(2.5)
    other.tell(Flow(9.0))
    other.pass_s(4)

    assert other.is_on


def test_a_meter_that_reads_nothing_shows_nothing_however_small_the_bed() -> None:
    small = Desk(limits=replace(PAIR_WITH_METER, normal_flow_l_per_min=4.0)).ready()
    small.ask(120)
    small.pass_s(2.5)
    small.tell(Flow(0.0))
    small.pass_s(4)

    assert small.is_on


def test_an_edited_file_takes_no_relay_sensor_or_float_away() -> None:
    desk = Desk(limits=PAIR).ready()
    bare = replace(LIMITS, has_sump_float=False, has_tray_float=False, rest_s=30.0)
    desk.tell(NewLimits(bare))

    assert desk.state.limits == replace(PAIR, rest_s=30.0)
    desk.ask(60)
    assert desk.alone is Contact.MAIN


def test_no_trip_of_flow_ends_while_the_relays_are_tested() -> None:
    desk = Desk(limits=replace(PAIR_WITH_METER, flow_within_s=10.0)).ready()
    desk.ask(60)
    desk.pass_s(17)
    assert desk.state.has_no_flow
    desk.pass_s(21 * 3600)
    desk.ask(60)
    desk.pass_s(1)
    assert desk.tell(Flow(1.0)) == []
    desk.pass_s(5.1)

    assert desk.tell(Flow(1.0)) == [TripEnded(Trip.NO_FLOW)]


# --- any story of a pair with one contact welded ------------------------------------------------


class Pair:
    """Two contacts as the guard drives them; one may be welded. live: whether the pump has its supply."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.welded: Contact | None = None

    def is_closed(self, contact: Contact) -> bool:
        return self.desk.is_on or self.desk.alone is contact or self.welded is contact

    @property
    def is_live(self) -> bool:
        return all(self.is_closed(contact) for contact in Contact)

    def seconds(self, count: int) -> None:
        for _ in range(count):
            self.desk.tell(ReadBack(self.is_live))
            self.desk.pass_s(0.5)
            self.desk.tell(ReadBack(self.is_live))
            self.desk.pass_s(0.5)


def runs_after_a_weld(welded: Contact | None, waits_h: list[int]) -> int:
    """Runs that reached both contacts, one ask after each wait; the weld is there before the first."""
    desk = Desk(limits=PAIR).ready()
    pair = Pair(desk)
    pair.welded = welded
    runs = 0
    for hours in waits_h:
        desk.pass_s(3600 * hours)
        desk.ask(20)
        pair.seconds(8)
        runs += desk.is_on
        pair.seconds(30)
        assert not pair.is_live
    return runs


@given(welded=st.sampled_from(Contact), waits_h=st.lists(st.integers(1, 30), min_size=1, max_size=4))
def test_s1_with_one_contact_welded_no_run_gets_past_the_test_and_the_pump_never_runs(
    welded: Contact, waits_h: list[int]
) -> None:
    assert runs_after_a_weld(welded, waits_h) == 0


@given(waits_h=st.lists(st.integers(1, 30), min_size=1, max_size=4))
def test_with_both_contacts_sound_every_run_gets_past_it(waits_h: list[int]) -> None:
    assert runs_after_a_weld(None, waits_h) == len(waits_h)


@pytest.mark.parametrize("sabotage", [s for s in SABOTAGES if s.module is contacts], ids=lambda s: s.what)
def test_its_sabotage_is_found(sabotage: Sabotage) -> None:
    with sabotaged(sabotage):
        assert runs_after_a_weld(Contact.MAIN, [1]) > 0
