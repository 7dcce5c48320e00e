"""The guard's thread on devices that fail, with a clock that the test moves."""

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import pytest
from tests.core.test_plan_runs import test_s10_an_intent_that_is_not_recorded_within_2_s_keeps_no_plant_waiting
from tests.guard.sabotages import ELSEWHERE, sabotaged
from tests.keeper.test_parts import (
    test_s8_a_beat_that_stands_still_is_counted_in_looks_and_a_long_sleep_is_one_look,
)

from waaler.devices.bench import Bench
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Action,
    Ask,
    Contact,
    Ended,
    Flow,
    Granted,
    Input,
    Instant,
    Level,
    Purse,
    Trip,
    Tripped,
    Wake,
)
from waaler.keeper.clock import Clock
from waaler.keeper.guard_thread import GuardThread

Sensed = TypeVar("Sensed")
LIMITS = Limits(start_delay_s=0.0, rest_s=0.0)


class HandClock(Clock):
    def __init__(self) -> None:
        self.long_s = 1000.0

    def now(self) -> Instant:
        return Instant(self.long_s, 1_750_000_000.0 + self.long_s)


class StuckRelay:
    """Records what it was told; `is_stuck` keeps its line on."""

    def __init__(self) -> None:
        self.log: list[str] = []
        self.is_stuck = False

    def on(self) -> None:
        self.log.append("on")

    def off(self) -> None:
        self.log.append("off")

    def alone(self, contact: Contact) -> None:
        self.log.append(f"{contact.value} alone")

    @property
    def is_on(self) -> bool:
        return self.log[-1:] == ["on"] or self.is_stuck

    def close(self) -> None:
        self.log.append("closed")


class Rig:
    def __init__(self, limits: Limits = LIMITS) -> None:
        self.clock = HandClock()
        self.relay = StuckRelay()
        self.said: list[Action] = []
        self.fed = 0
        self.deaths: list[BaseException] = []
        self.reads: dict[Input, Callable[[], Level]] = {name: lambda: Level.GOOD for name in Input}
        self.reads_done = 0
        self.flow_l_per_min = 0.0
        self.is_live = False
        self.is_broken = False
        bench = Bench(
            self.relay,
            {name: self._reader(name) for name in Input},
            {},
            lambda: None,
            lambda: self._sensed(self.flow_l_per_min),
            lambda: self._sensed(self.is_live),
        )
        self.thread = GuardThread(
            bench,
            limits,
            Memory(last_stop_s=0.0),
            self.clock,
            self._hear,
            self._feed,
            self._died,
        )

    def _hear(self, at: Instant, said: Action | Flow) -> None:
        if not isinstance(said, Flow):
            self.said.append(said)

    def _reader(self, name: Input) -> Callable[[], Level]:
        def read() -> Level:
            self.reads_done += 1
            return self.reads[name]()

        return read

    def _sensed(self, value: Sensed) -> Sensed:
        if self.is_broken:
            raise OSError("no such line")
        return value

    def _feed(self) -> None:
        self.fed += 1

    def _died(self, problem: BaseException) -> None:
        self.deaths.append(problem)

    def turn(self, seconds: float = 0.0) -> None:
        """Moves the clock and lets the thread's loop go round once."""
        self.clock.long_s += seconds
        self.thread.inbox.put(Wake())
        self.thread._turn()

    def ask(self) -> None:
        self.turn()
        self.thread.inbox.put(Ask(1, 60.0, Purse.PLAN, self.clock.long_s + 5))
        self.thread._turn()


def test_a_granted_run_drives_the_relay_before_anything_is_told() -> None:
    rig = Rig()
    rig.ask()

    assert rig.relay.log == ["on"]
    assert rig.said == [Granted(1, rig.clock.long_s + 60)]


def test_s13_inputs_are_read_every_20_ms_while_the_relay_is_on_and_every_200_ms_otherwise() -> None:
    rig = Rig()
    rig.turn()
    idle = rig.reads_done
    for _ in range(640):
        rig.turn(1 / 64)
    assert 2 * 49 <= rig.reads_done - idle <= 2 * 51
    rig.ask()
    before = rig.reads_done
    for _ in range(640):
        rig.turn(1 / 64)

    assert 2 * 499 <= rig.reads_done - before <= 2 * 501


def test_a_read_that_raises_cuts_at_the_next_poll() -> None:
    rig = Rig()
    rig.ask()

    def fail() -> Level:
        raise OSError("line lost")

    rig.reads[Input.TRAY_HIGH] = fail
    rig.turn(0.02)

    assert rig.relay.log == ["on", "off"]
    (ended,) = [action for action in rig.said if isinstance(action, Ended)]
    assert ended.trip is Trip.NOT_READ


def test_a_line_that_stays_on_after_off_is_an_overrun() -> None:
    rig = Rig()
    rig.ask()
    rig.relay.is_stuck = True
    for _ in range(310):
        rig.turn(0.2)

    assert Tripped(Trip.OVERRUN, "locked: ran too long", is_locked=True) in rig.said


def test_whatever_ends_the_thread_leaves_the_relay_off_and_is_reported() -> None:
    rig = Rig()
    rig.ask()

    def die(*_: object) -> None:
        raise RuntimeError("bug")

    rig.thread._tell = die
    rig.clock.long_s += 60
    rig.thread.inbox.put(Wake())
    rig.thread.run()

    assert rig.relay.log[-1] == "off"
    assert [str(problem) for problem in rig.deaths] == ["bug"]


def test_told_to_stop_in_a_run_the_relay_is_off_when_the_thread_has_ended() -> None:
    rig = Rig()
    rig.ask()
    rig.thread.stop()
    rig.thread.run()

    assert rig.relay.log[-1] == "off"
    assert rig.deaths == []


def test_the_watchdog_is_fed_by_the_guards_own_loop() -> None:
    rig = Rig()
    for _ in range(50):
        rig.turn(0.2)

    assert 9 <= rig.fed <= 11


# --- the threads around it ------------------------------------------------------------------------


def test_s11_the_relay_moves_before_anybody_is_told_however_long_they_take_to_listen() -> None:
    rig = Rig()
    rig.ask()
    order: list[str] = []
    rig.thread._tell = lambda _, action: order.append(type(action).__name__ + " after " + rig.relay.log[-1])
    rig.reads[Input.SUMP_LOW] = lambda: Level.NOT_READ
    rig.turn(0.02)

    assert order == ["Tripped after off", "Ended after off"]


@pytest.mark.parametrize(
    ("row", "test"),
    [
        ("S8", test_s8_a_beat_that_stands_still_is_counted_in_looks_and_a_long_sleep_is_one_look),
        ("S10", test_s10_an_intent_that_is_not_recorded_within_2_s_keeps_no_plant_waiting),
        ("S11", test_s11_the_relay_moves_before_anybody_is_told_however_long_they_take_to_listen),
        ("S13", test_s13_inputs_are_read_every_20_ms_while_the_relay_is_on_and_every_200_ms_otherwise),
    ],
)
def test_a_sabotage_around_the_guard_is_seen_by_the_test_of_its_row(
    row: str, test: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    (sabotage,) = [sabotage for sabotage in ELSEWHERE if sabotage.row == row]
    with sabotaged(sabotage), pytest.raises(AssertionError):
        test(*[monkeypatch] * (row == "S10"))


# --- what moves ---------------------------------------------------------------------------------

PAIR = replace(LIMITS, has_cutoff=True, has_read_back=True, normal_flow_l_per_min=10.0)


def test_each_relay_is_energised_alone_before_the_first_run() -> None:
    rig = Rig(PAIR)
    rig.turn()
    rig.ask()
    for _ in range(13):
        rig.turn(0.5)
    rig.is_live, rig.flow_l_per_min = True, 9.0
    rig.turn(0.5)
    rig.turn(0.5)

    assert rig.relay.log == ["the main relay alone", "the cut-off relay alone", "on"]
    run = rig.thread.state.run
    assert run is not None
    assert run.has_flowed
    assert run.was_live


def test_a_supply_that_stays_live_locks_and_a_meter_that_turns_locks() -> None:
    live = Rig(replace(LIMITS, has_read_back=True))
    live.is_live = True
    live.turn(0.3)
    live.turn(0.3)
    assert live.thread.state.locks == {Trip.OVERRUN}
    wet = Rig(replace(LIMITS, normal_flow_l_per_min=10.0, line_drain_s=0.0))
    wet.flow_l_per_min = 3.0
    for _ in range(33):
        wet.turn(1.0)

    assert wet.thread.state.locks == {Trip.FLOW_WHILE_OFF}


def test_sensors_that_raise_prove_nothing_and_end_no_thread() -> None:
    rig = Rig(replace(LIMITS, has_read_back=True, normal_flow_l_per_min=10.0))
    rig.is_broken = True
    for _ in range(40):
        rig.turn(1.0)

    assert not rig.thread.state.locks
    assert rig.deaths == []
