"""A float that bounces at the water's surface, hundreds of times a second: one clean change, and the relay off."""

from dataclasses import dataclass, field
from random import Random

import pytest
from tests.devices.opened import pump_lines

from waaler.bed.wiring import FloatPin, RelayPin, Wiring
from waaler.devices.lines import mock_lines
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Ask,
    Ended,
    Event,
    Granted,
    Instant,
    Level,
    LevelRead,
    Message,
    Purse,
    Relay,
    Trip,
    Tripped,
)
from waaler.guard.state import begin
from waaler.guard.step import step

FLIPS_PER_S = 370
POLL_ON_S, POLL_OFF_S = 0.02, 0.2
LIMITS = Limits(has_tray_float=False, start_delay_s=5.0, rest_s=1.0, confirm_s=0.3)


@dataclass
class Bouncing:
    """The guard polled as its thread polls it, over a mock line that bounces within two instants."""

    from_s: float
    until_s: float
    now_s: float = 100.0
    said: list[tuple[float, object]] = field(default_factory=list)
    polls: int = 0
    flips: int = 0
    seed: int = 1
    first_bad_s: float | None = None

    def __post_init__(self) -> None:
        self.noise = Random(self.seed)
        self.factory = mock_lines()
        self.bench = pump_lines(Wiring(RelayPin(17), sump_low=FloatPin(27)), self.factory)
        self.state = begin(LIMITS, Memory(last_stop_s=0.0), self.now_s)

    def tell(self, message: Message) -> None:
        self.state, actions, _ = step(self.state, Event(Instant(self.now_s, self.now_s), message))
        for action in actions:
            self.said.append((self.now_s, action))
            if isinstance(action, Relay):
                self.bench.relay.on() if action.on else self.bench.relay.off()

    def pass_to(self, end_s: float) -> None:
        while self.now_s < end_s:
            self.now_s += POLL_ON_S if self.state.run is not None else POLL_OFF_S
            self._move()
            self.polls += 1
            for name, read in self.bench.levels.items():
                level = read()
                if level is Level.BAD and self.first_bad_s is None:
                    self.first_bad_s = self.now_s
                self.tell(LevelRead(name, level))

    def _move(self) -> None:
        """Every flip since the last poll really happens on the line, at irregular times; closed when all is well."""
        line = self.factory.pin(27)
        due = int((min(self.now_s, self.until_s) - self.from_s) * FLIPS_PER_S) + self.noise.randrange(2)
        while self.from_s <= self.now_s and self.flips < due:
            self.flips += 1
            line.drive_high() if self.flips % 2 else line.drive_low()
        if not self.from_s <= self.now_s <= self.until_s:
            line.drive_low()

    def close(self) -> None:
        self.bench.close()

    def of(self, kind: type) -> list[tuple[float, object]]:
        return [(at_s, action) for at_s, action in self.said if isinstance(action, kind)]


def test_a_minute_of_chatter_is_one_clean_change_and_the_relay_is_off_within_100_ms_after_confirm() -> None:
    bed = Bouncing(from_s=120.0, until_s=180.0)
    bed.pass_to(110.0)
    bed.tell(Ask(1, 300.0, Purse.PLAN, bed.now_s + 5))
    assert bed.of(Granted)
    bed.pass_to(180.0)
    (off_s,) = [at_s for at_s, action in bed.said if action == Relay(on=False)]

    assert bed.flips == pytest.approx(60 * FLIPS_PER_S, abs=2)
    assert bed.first_bad_s is not None
    assert off_s - bed.first_bad_s + 1e-9 >= 0.3
    assert off_s - bed.first_bad_s <= 0.3 + 0.1
    assert not bed.bench.relay.is_on
    assert [action.trip for _, action in bed.of(Tripped) if isinstance(action, Tripped)] == [Trip.LOW_SUMP]
    assert len(bed.of(Ended)) == 1
    assert [action for _, action in bed.of(Relay)] == [Relay(on=True), Relay(on=False)]
    bed.close()


def test_the_work_done_is_that_of_the_polls_however_often_the_float_bounces() -> None:
    bed = Bouncing(from_s=120.0, until_s=180.0)
    bed.pass_to(200.0)

    assert bed.flips > 22_000
    assert bed.polls == pytest.approx(100 / POLL_OFF_S, abs=2)
    assert bed.bench.levels  # no edge is listened to: a callback would be called for each flip
    assert bed.factory.pin(27).when_changed is None
    bed.close()


def test_trust_returns_once_only_after_the_whole_settle_time() -> None:
    bed = Bouncing(from_s=120.0, until_s=180.0)
    bed.pass_to(180.0 + 1199.0)
    bed.tell(Ask(2, 60.0, Purse.PLAN, bed.now_s + 5))
    assert bed.of(Granted) == []
    bed.pass_to(180.0 + 1201.0)
    bed.tell(Ask(3, 60.0, Purse.PLAN, bed.now_s + 5))

    assert len(bed.of(Granted)) == 1
    bed.close()
