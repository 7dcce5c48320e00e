"""The pump's lines under the guard's machine: reads them, steps it, drives the relay, and reads that back.

Whatever it has to say goes to `say`, which never waits.
"""

from collections.abc import Callable
from typing import TypeVar

from waaler.devices.clock import Clock
from waaler.devices.pump_lines import PumpLines
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
    RelayRead,
    Wake,
)  # fmt: skip
from waaler.guard.state import State
from waaler.guard.step import step

__all__ = ["POLL_IDLE_S", "POLL_ON_S", "Pump"]

POLL_ON_S = 0.02
POLL_IDLE_S = 0.2
"""How often protective inputs are read while the relay is on, and otherwise. Source: our own S13."""

FLOW_EVERY_S = 1.0

Value = TypeVar("Value")


class Pump:
    """state: of the machine. say: hears what it says, and each second's flow of a run.

    driven: called after the relay moved. off_problem: why the last off failed, empty if it did not.
    """

    def __init__(
        self,
        lines: PumpLines,
        state: State,
        clock: Clock,
        say: Callable[[Instant, Action | Flow], object],
        driven: Callable[[], object] = lambda: None,
    ) -> None:
        self.state, self._lines, self._clock, self._say, self._driven = state, lines, clock, say, driven
        self.off_problem = ""
        now_s = clock.now().long_s
        self.poll_s = self._wake_s = now_s
        self._flow_s = now_s + FLOW_EVERY_S

    @property
    def due_s(self) -> float:
        """When it wants to look next (long hand)."""
        return min(self.poll_s, self._wake_s)

    def look(self) -> None:
        """Polls the lines if that is due, and lets time pass."""
        now_s = self._clock.now().long_s
        if now_s >= self.poll_s:
            self._poll(now_s)
        elif now_s >= self._wake_s:
            self.tell(Wake())

    def tell(self, message: Message) -> None:
        """Steps the machine. The relay moves before anything else is done."""
        at = self._clock.now()
        self.state, actions, self._wake_s = step(self.state, Event(at, message))
        for action in actions:
            if isinstance(action, Relay | Alone):
                self._drive(action)
        for action in actions:
            if not isinstance(action, Relay | Alone):
                self._say(at, action)

    def off(self) -> bool:
        """Drives the relay off whatever the machine thinks; whether its line took that without an error."""
        try:
            self._lines.relay.off()
        except Exception as problem:  # the driver, gpiozero and the kernel each raise their own
            self.off_problem = f"{type(problem).__name__}: {problem}"
            return False
        self.off_problem = ""
        return True

    def close(self) -> None:
        """Off, then the lines are given back. Raises what the driver raises."""
        self._lines.close()

    def _poll(self, now_s: float) -> None:
        for name, read in self._lines.levels.items():
            level = _read(read)
            self.tell(LevelRead(name, Level.NOT_READ if level is None else level))
        self._read_relay()
        self._read_what_moves(now_s)
        period_s = POLL_ON_S if self.state.run is not None else POLL_IDLE_S
        self.poll_s = max(self.poll_s + period_s, now_s)
        if not self._lines.levels:
            self.tell(Wake())

    def _read_relay(self) -> None:
        """What the line itself reads; a line that failed to go off counts as on until it went off."""
        is_on = True if self.off_problem else _read(lambda: self._lines.relay.is_on)
        is_as_told = is_on is (self.state.run is not None)
        if not is_as_told or self.state.line_on_since_s is not None:
            self.tell(RelayRead(is_on))

    def _read_what_moves(self, now_s: float) -> None:
        """Supply at every poll, flow once a second. A sensor that raises proves nothing either way."""
        lines = self._lines
        if lines.is_live is not None and (is_live := _read(lines.is_live)) is not None:
            self.tell(ReadBack(is_live))
        if lines.flow is not None and now_s >= self._flow_s:
            self._flow_s = now_s + FLOW_EVERY_S
            if (l_per_min := _read(lines.flow)) is not None:
                self.tell(Flow(l_per_min))
                if self.state.run is not None:
                    self._say(self._clock.now(), Flow(l_per_min))

    def _drive(self, action: Relay | Alone) -> None:
        if action == Relay(on=False):
            self.off()
        elif isinstance(action, Alone):
            self._lines.relay.alone(action.contact)
        else:
            self._lines.relay.on()
        self.poll_s = min(self.poll_s, self._clock.now().long_s + POLL_ON_S)
        self._driven()


def _read(read: Callable[[], Value]) -> Value | None:
    """What is read; None from a line that raises, whatever it raises."""
    try:
        return read()
    except Exception:
        return None
