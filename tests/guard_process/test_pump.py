"""The pump's lines under the guard's machine, on devices that fail, with a clock that the test moves."""

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import pytest
from tests.core.test_plan_runs import test_s10_an_intent_that_is_not_recorded_within_2_s_keeps_no_plant_waiting
from tests.guard.sabotages import ELSEWHERE, sabotaged
from tests.guard_process.test_keeper_child import (
    test_s8_looks_are_counted_not_seconds_so_that_a_long_sleep_is_one_look,
)

from waaler.devices.clock import Clock
from waaler.devices.pump_lines import PumpLines
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Action,
    Ask,
    Clear,
    Contact,
    Ended,
    Flow,
    Granted,
    Input,
    Instant,
    Level,
    LockLifted,
    LockStays,
    Purse,
    Trip,
    Tripped,
    Wake,
)
from waaler.guard.state import begin
from waaler.guard_process.pump import Pump

Sensed = TypeVar("Sensed")
LIMITS = Limits(start_delay_s=0.0, rest_s=0.0)


class HandClock(Clock):
    def __init__(self) -> None:
        self.long_s = 1000.0

    def now(self) -> Instant:
        return Instant(self.long_s, 1_750_000_000.0 + self.long_s)


class StuckRelay:
    """Records what it was told; `is_stuck` keeps its line on, `is_deaf` makes every off fail."""

    def __init__(self) -> None:
        self.log: list[str] = []
        self.is_stuck = self.is_deaf = False

    def on(self) -> None:
        self.log.append("on")

    def off(self) -> None:
        if self.is_deaf:
            raise OSError("the line does not answer")
        self.log.append("off")

    def alone(self, contact: Contact) -> None:
        self.log.append(f"{contact.value} alone")

    @property
    def is_on(self) -> bool:
        return self.is_stuck or (self.log[-1:] != [] and self.log[-1].endswith(("on", "alone")))

    def close(self) -> None:
        self.log.append("closed")


class Rig:
    def __init__(self, limits: Limits = LIMITS) -> None:
        self.clock = HandClock()
        self.relay = StuckRelay()
        self.said: list[Action] = []
        self.reads: dict[Input, Callable[[], Level]] = {name: lambda: Level.GOOD for name in Input}
        self.reads_done = 0
        self.flow_l_per_min = 0.0
        self.is_live = False
        self.is_broken = False
        lines = PumpLines(
            self.relay,
            {name: self._reader(name) for name in Input},
            self.relay.close,
            lambda: self._sensed(self.flow_l_per_min),
            lambda: self._sensed(self.is_live),
        )
        state = begin(limits, Memory(last_stop_s=0.0), self.clock.long_s)
        self.pump = Pump(lines, state, self.clock, self._hear)

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

    def turn(self, seconds: float = 0.0) -> None:
        """Moves the clock and lets the pump look once."""
        self.clock.long_s += seconds
        self.pump.look()
        self.pump.tell(Wake())

    def ask(self, seconds: float = 60.0) -> None:
        self.turn()
        self.pump.tell(Ask(self.pump.state.last_run_id + 1, seconds, Purse.PLAN, self.clock.long_s + 5))


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


def test_s15_a_line_that_stays_on_is_told_off_at_every_poll_and_locks() -> None:
    rig = Rig()
    rig.ask(seconds=1.0)
    rig.turn(0.0)
    rig.relay.is_stuck = True
    for _ in range(60):
        rig.turn(0.2)

    assert (
        Tripped(Trip.OVERRUN, "locked: the relay's line stays on after it was told off", is_locked=True) in rig.said
    )
    assert rig.relay.log.count("off") > 50
    rig.pump.tell(Clear("ann"))
    assert LockStays(Trip.OVERRUN, "the relay's line still reads on") in rig.said
    rig.relay.is_stuck = False
    rig.turn(0.2)
    rig.pump.tell(Clear("ann"))
    assert rig.said[-1] == LockLifted(Trip.OVERRUN, "ann")


def test_s15_an_off_that_raises_ends_nothing_is_repeated_and_locks() -> None:
    rig = Rig()
    rig.ask(seconds=1.0)
    rig.turn(0.0)
    rig.relay.is_deaf = True
    for _ in range(20):
        rig.turn(0.2)
    assert rig.pump.state.locks == {Trip.OVERRUN}
    assert rig.pump.off_problem == "OSError: the line does not answer"

    rig.relay.is_deaf = False
    rig.turn(0.2)
    rig.turn(0.2)

    assert rig.relay.log[-1] == "off"
    assert rig.pump.off_problem == ""


def test_a_line_that_misses_one_off_is_told_again_at_the_next_poll() -> None:
    rig = Rig()
    rig.ask(seconds=1.0)
    rig.relay.is_stuck = True
    rig.turn(1.0)
    rig.relay.log.clear()
    rig.relay.is_stuck = False
    rig.relay.log.append("on")  # the write was lost
    rig.turn(0.1)

    assert rig.relay.log == ["on", "off"]
    assert rig.pump.state.locks == frozenset()


def test_a_relay_whose_line_never_goes_on_ends_its_run_and_says_so() -> None:
    rig = Rig()
    rig.ask()
    rig.relay.log.append("lost")
    rig.turn(0.3)

    (ended,) = [action for action in rig.said if isinstance(action, Ended)]
    assert (ended.trip, ended.reason) == (Trip.NO_FLOW, "nothing moves: the relay's line does not go on")


def test_s1_a_stall_past_the_deadline_is_an_overrun_and_its_whole_time_is_told() -> None:
    rig = Rig()
    rig.ask(seconds=5.0)
    rig.turn(30.0)

    (ended,) = [action for action in rig.said if isinstance(action, Ended)]
    assert (ended.trip, ended.seconds) == (Trip.OVERRUN, 30.0)
    assert rig.pump.state.locks == {Trip.OVERRUN}


# --- what stands around it ------------------------------------------------------------------------


def test_s11_the_relay_moves_before_anybody_is_told_however_long_they_take_to_listen() -> None:
    rig = Rig()
    rig.ask()
    order: list[str] = []
    rig.pump._say = lambda _, action: order.append(type(action).__name__ + " after " + rig.relay.log[-1])
    rig.reads[Input.SUMP_LOW] = lambda: Level.NOT_READ
    rig.turn(0.02)

    assert order == ["Tripped after off", "Ended after off"]


@pytest.mark.parametrize(
    ("row", "test"),
    [
        ("S8", test_s8_looks_are_counted_not_seconds_so_that_a_long_sleep_is_one_look),
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
    run = rig.pump.state.run
    assert run is not None
    assert run.has_flowed
    assert run.was_live


def test_a_supply_that_stays_live_locks_and_a_meter_that_turns_locks() -> None:
    live = Rig(replace(LIMITS, has_read_back=True))
    live.is_live = True
    live.turn(0.3)
    live.turn(0.3)
    assert live.pump.state.locks == {Trip.OVERRUN}
    wet = Rig(replace(LIMITS, normal_flow_l_per_min=10.0, line_drain_s=0.0))
    wet.flow_l_per_min = 3.0
    for _ in range(33):
        wet.turn(1.0)

    assert wet.pump.state.locks == {Trip.FLOW_WHILE_OFF}


def test_sensors_that_raise_prove_nothing_and_end_nothing() -> None:
    rig = Rig(replace(LIMITS, has_read_back=True, normal_flow_l_per_min=10.0))
    rig.is_broken = True
    for _ in range(40):
        rig.turn(1.0)

    assert not rig.pump.state.locks
