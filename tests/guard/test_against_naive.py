"""The guard against a naive one: after any order of events both have the relay in the same state."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
import tests.guard.naive as naive
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from tests.guard.exploration import small_day
from tests.guard.sabotages import SABOTAGES, Sabotage, sabotaged

from waaler.guard import state as guard_state
from waaler.guard import step as guard_step
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Ask,
    Cut,
    Event,
    Input,
    Instant,
    Level,
    LevelRead,
    Message,
    NewLimits,
    Purse,
    Refused,
    Relay,
    Wake,
)  # fmt: skip

LIMITS = Limits(
    longest_run_s=naive.LONGEST,
    most_per_day_s=naive.MOST,
    rest_s=naive.REST,
    settle_sump_s=naive.SETTLE,
    settle_tray_s=naive.SETTLE,
    run_back_s=0.0,
    confirm_s=naive.CONFIRM,
    stale_after_s=naive.STALE,
    start_delay_s=naive.START_DELAY,
    most_starts_per_h=10_000,
)
NAMES = {"sump": Input.SUMP_LOW, "tray": Input.TRAY_HIGH}
LEVELS = {"good": Level.GOOD, "bad": Level.BAD, "not read": Level.NOT_READ}


class Both(RuleBasedStateMachine):
    """wires: what each float shows at every second from now on; None: it is not read."""

    @initialize()
    def begin(self) -> None:
        self.long_s, self.wall_s = 5000.0, 1_750_000_000.0
        self.guard = guard_state.begin(LIMITS, Memory(), self.long_s)
        self.naive = naive.NaiveGuard()
        self.is_on = False
        self.asked = 0
        self.wires: dict[str, str | None] = {"sump": "good", "tray": "good"}
        self._read_all()
        self._pass(naive.REST + naive.START_DELAY)

    @rule(seconds=st.integers(1, 40))
    def pass_time(self, seconds: int) -> None:
        self._pass(seconds)

    def _pass(self, seconds: int) -> None:
        for _ in range(seconds):
            self.long_s += 1
            self.wall_s += 1
            self._tell(Wake())
            self.naive.second()
            self._read_all()
            self.the_relays_agree()

    @rule(name=st.sampled_from(sorted(NAMES)), level=st.sampled_from(["good", "bad", "not read", None]))
    def show(self, name: str, level: str | None) -> None:
        self.wires[name] = level
        self._read(name)

    @rule(seconds=st.sampled_from([0, 1, 10, 30, 50]))
    def ask(self, seconds: int) -> None:
        self.asked += 1
        actions = self._tell(Ask(self.asked, float(seconds), Purse.PLAN, self.long_s + 5))
        assert any(isinstance(action, Refused) for action in actions) is not self.naive.ask(seconds)

    @rule()
    def cut(self) -> None:
        self._tell(Cut("cut"))
        self.naive.stop()

    @rule(seconds=st.sampled_from([-86_400.0, -3600.0, 3600.0, 31_536_000.0]))
    def step_the_wall_clock(self, seconds: float) -> None:
        self.wall_s += seconds

    @rule(seconds=st.sampled_from([10, 30, 45]))
    def edit_longest_run(self, seconds: int) -> None:
        self._tell(NewLimits(replace(LIMITS, longest_run_s=float(seconds))))
        self.naive.take_longest(seconds)

    @invariant()
    def the_relays_agree(self) -> None:
        assert self.is_on == (self.naive.on_for is not None)

    def _read_all(self) -> None:
        for name in self.wires:
            self._read(name)

    def _read(self, name: str) -> None:
        level = self.wires[name]
        if level is not None:
            self._tell(LevelRead(NAMES[name], LEVELS[level]))
            self.naive.read(name, level)

    def _tell(self, message: Message) -> tuple[object, ...]:
        event = Event(Instant(self.long_s, self.wall_s), message)
        self.guard, actions, _ = guard_step.step(self.guard, event)
        for action in actions:
            if isinstance(action, Relay):
                self.is_on = action.on
        return actions


@pytest.fixture(autouse=True)
def _day_of_200_s(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    with small_day(naive.DAY):
        yield


FEW = settings(max_examples=60, stateful_step_count=30, deadline=None, derandomize=True, database=None)
MANY = settings(FEW, max_examples=1500)
UNTIL_SEEN = settings(FEW, max_examples=2000, phases=[Phase.generate])


def test_the_guard_and_the_naive_guard_agree() -> None:
    run_state_machine_as_test(Both, settings=FEW)


@pytest.mark.long
def test_the_guard_and_the_naive_guard_agree_in_many_stories() -> None:
    run_state_machine_as_test(Both, settings=MANY)


SEEN_HERE = [sabotage for sabotage in SABOTAGES if sabotage.row in {"S2", "S5", "S6", "S9", "S12"}]


@pytest.mark.parametrize("sabotage", SEEN_HERE, ids=lambda s: f"{s.row} {s.what}")
def test_a_sabotage_of_levels_rest_length_or_time_is_seen_here(sabotage: Sabotage) -> None:
    with sabotaged(sabotage), pytest.raises(Exception):  # noqa: B017  (whatever hypothesis reports)
        run_state_machine_as_test(Both, settings=UNTIL_SEEN)
