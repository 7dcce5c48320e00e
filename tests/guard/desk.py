"""A desk to test the guard at: a clock with two hands, and everything the guard said, in order."""

from dataclasses import dataclass, field, replace

from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Action,
    Alone,
    Ask,
    Contact,
    Event,
    Input,
    Instant,
    Level,
    LevelRead,
    Message,
    Purse,
    Relay,
    Wake,
)  # fmt: skip
from waaler.guard.state import State, begin
from waaler.guard.step import step

__all__ = ["LIMITS", "Desk"]

LIMITS = Limits(
    longest_run_s=600.0,
    most_per_day_s=3600.0,
    rest_s=300.0,
    settle_sump_s=1200.0,
    settle_tray_s=600.0,
    run_back_s=1200.0,
    confirm_s=0.3,
    stale_after_s=1.0,
    start_delay_s=120.0,
    most_starts_per_h=6,
)
FAR_S = 1e9


@dataclass
class Desk:
    """`pass_s` moves both hands and lets the guard wake whenever it asked to.

    is_on: whether every contact is energised. alone: the one that is energised without its partner.
    """

    limits: Limits = LIMITS
    memory: Memory = field(default_factory=Memory)
    long_s: float = 1_000_000.0
    wall_s: float = 1_750_000_000.0
    said: list[tuple[float, Action]] = field(default_factory=list)
    is_on: bool = False
    alone: Contact | None = None
    run_id: int = 0

    def __post_init__(self) -> None:
        self.state: State = begin(self.limits, self.memory, self.long_s)
        self.wake_s = self.long_s
        self.zero_s = self.long_s

    def tell(self, message: Message) -> list[Action]:
        self.state, actions, self.wake_s = step(self.state, Event(Instant(self.long_s, self.wall_s), message))
        self.said += [(round(self.long_s - self.zero_s, 6), action) for action in actions]
        for action in actions:
            if isinstance(action, Relay):
                self.is_on, self.alone = action.on, None
            elif isinstance(action, Alone):
                self.is_on, self.alone = False, action.contact
        return list(actions)

    def pass_s(self, seconds: float) -> None:
        end_s = self.long_s + seconds
        while self.wake_s <= end_s:
            self._move(max(self.wake_s, self.long_s))
            before = self.wake_s
            self.tell(Wake())
            assert self.wake_s > before or self.wake_s > self.long_s, "the guard asks to be woken without end"
        self._move(end_s)

    def _move(self, long_s: float) -> None:
        self.wall_s += long_s - self.long_s
        self.long_s = long_s

    def step_wall(self, seconds: float) -> None:
        self.wall_s += seconds

    def read(self, level: Level, *inputs: Input, for_s: float = FAR_S) -> None:
        """Both floats (or the named ones) read `level` from now on."""
        for name in inputs or tuple(Input):
            self.tell(LevelRead(name, level, self.long_s + for_s))

    def ready(self) -> "Desk":
        """All inputs good for long enough that a run may start."""
        self.read(Level.GOOD)
        self.pass_s(self.limits.start_delay_s + self.limits.rest_s)
        return self

    def ask(self, seconds: float = 120.0, purse: Purse = Purse.PLAN, reserve_s: float = 0.0) -> list[Action]:
        self.run_id += 1
        return self.tell(Ask(self.run_id, seconds, purse, self.long_s + 5.0, reserve_s))

    def heard(self, kind: type) -> list[tuple[float, Action]]:
        return [(at_s, action) for at_s, action in self.said if isinstance(action, kind)]

    def take_limits(self, **changes: float) -> Limits:
        return replace(self.state.limits, **changes)  # type: ignore[arg-type]
