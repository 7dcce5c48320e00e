"""The guard's own thread: alone moves the relay and reads the protective inputs.

It does no input or output but its own lines, and takes no lock that anyone holds during any. Protective inputs
are polled; the time of a poll is the only thing it waits for.
"""

from collections.abc import Callable
from queue import Empty, SimpleQueue
from threading import Thread
from typing import TypeVar

from waaler.devices.bench import Bench
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Action,
    Alone,
    Event,
    Flow,
    Instant,
    Level,
    LevelRead,
    Message,
    ReadBack,
    Relay,
    Wake,
)  # fmt: skip
from waaler.guard.state import State, begin
from waaler.guard.step import step
from waaler.keeper.clock import Clock

__all__ = ["POLL_IDLE_S", "POLL_ON_S", "GuardThread"]

POLL_ON_S = 0.02
POLL_IDLE_S = 0.2
"""How often protective inputs are read while the relay is on, and otherwise. Source: our own S13."""

FLOW_EVERY_S = 1.0
FEED_EVERY_S = 1.0

Value = TypeVar("Value")


class GuardThread(Thread):
    """tell: takes what the guard says, at once, and the flow of each second of a run.

    feed: tells the watchdog that the guard lives, if others do. died: called with the exception that ended it,
    after the relay is off.
    """

    def __init__(
        self,
        bench: Bench,
        limits: Limits,
        memory: Memory,
        clock: Clock,
        tell: Callable[[Instant, Action | Flow], object],
        feed: Callable[[], object],
        died: Callable[[BaseException], object],
    ) -> None:
        super().__init__(name="guard", daemon=True)
        self.inbox: SimpleQueue[Message | None] = SimpleQueue()
        self.beat_s = clock.now().long_s
        self._bench, self._clock, self._tell, self._feed, self._died = bench, clock, tell, feed, died
        self._state: State = begin(limits, memory, self.beat_s)
        self._wake_s = self.beat_s
        self._poll_s = self.beat_s
        self._flow_s = self.beat_s + FLOW_EVERY_S
        self._fed_s = 0.0

    @property
    def state(self) -> State:
        """The frozen state of this moment; any thread may look."""
        return self._state

    def run(self) -> None:
        try:
            while self._turn():
                pass
        except BaseException as problem:
            self._bench.relay.off()
            self._died(problem)
        finally:
            self._bench.relay.off()

    def stop(self) -> None:
        """Ends the thread; the relay is off when it has ended."""
        self.inbox.put(None)

    def _turn(self) -> bool:
        now_s = self._clock.now().long_s
        wait_s = max(0.0, min(self._poll_s, self._wake_s) - now_s)
        try:
            message = self.inbox.get(timeout=wait_s) if wait_s > 0 else self.inbox.get_nowait()
        except Empty:
            message = Wake()
        if message is None:
            return False
        self._poll_if_due()
        self._step(message)
        self._feed_if_due()
        return True

    def _poll_if_due(self) -> None:
        now_s = self._clock.now().long_s
        if now_s < self._poll_s:
            return
        for name, read in self._bench.levels.items():
            self._step(LevelRead(name, _level(read)))
        self._read_what_moves(now_s)
        period_s = POLL_ON_S if self._state.run is not None else POLL_IDLE_S
        self._poll_s = max(self._poll_s + period_s, now_s)

    def _read_what_moves(self, now_s: float) -> None:
        """Supply at every poll, flow once a second. A sensor that raises proves nothing either way."""
        bench = self._bench
        if bench.is_live is not None and (is_live := _read(bench.is_live)) is not None:
            is_stuck = self._state.run is None and bench.relay.is_on
            self._step(ReadBack(is_live or is_stuck))
        if bench.flow is not None and now_s >= self._flow_s:
            self._flow_s = now_s + FLOW_EVERY_S
            if (l_per_min := _read(bench.flow)) is not None:
                self._step(Flow(l_per_min))
                if self._state.run is not None:
                    self._tell(self._clock.now(), Flow(l_per_min))

    def _step(self, message: Message) -> None:
        at = self._clock.now()
        self._state, actions, self._wake_s = step(self._state, Event(at, message))
        self.beat_s = at.long_s
        for action in actions:
            if isinstance(action, Relay | Alone):
                self._drive(action)
        for action in actions:
            if not isinstance(action, Relay | Alone):
                self._tell(at, action)

    def _drive(self, action: Relay | Alone) -> None:
        relay = self._bench.relay
        if action == Relay(on=False):
            relay.off()
            if relay.is_on:
                self.inbox.put(ReadBack(is_on=True))
            return
        self._poll_s = min(self._poll_s, self.beat_s + POLL_ON_S)
        relay.alone(action.contact) if isinstance(action, Alone) else relay.on()

    def _feed_if_due(self) -> None:
        if self.beat_s >= self._fed_s + FEED_EVERY_S:
            self._fed_s = self.beat_s
            self._feed()


def _level(read: Callable[[], Level]) -> Level:
    """A read that raises is an input that cannot be read."""
    level = _read(read)
    return Level.NOT_READ if level is None else level


def _read(read: Callable[[], Value]) -> Value | None:
    """What is read; None from a line that raises, whatever it raises."""
    try:
        return read()
    except Exception:
        return None
