"""What the guard's process and the keeper say to each other, and the pipe that carries it.

A pair of sockets that keep messages apart. Sending never waits: what does not go at once is dropped, and counted.
"""

import json
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from waaler.bed.wiring import PumpPins
from waaler.guard.codec import Misfit, packed, unpacked
from waaler.guard.journal import Health
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import (
    Ask,
    BeginHold,
    Clear,
    Cut,
    Disarm,
    Ended,
    EndHolds,
    Flow,
    Granted,
    Held,
    HoldOver,
    Instant,
    LockLifted,
    LockStays,
    NewLimits,
    Refused,
    Reserve,
    Seen,
    Stop,
    Stopped,
    TripEnded,
    Tripped,
)  # fmt: skip
from waaler.guard.state import State

__all__ = [
    "PIPE_VARIABLE", "Beat", "Began", "Finish", "FromGuard", "Hello", "Pipe", "Ready", "RelayLevels", "Reload",
    "Report", "Setup", "Sure", "ToGuard", "Trouble", "TroubleKind", "Wires",
]  # fmt: skip

PIPE_VARIABLE = "WAALER_PIPE"
"""Names the keeper's end of the pipe in its environment: a file descriptor that it inherits."""

LONGEST_BYTES = 131_072
MOST_AT_ONCE = 64
"""Messages taken in one go: whoever floods the pipe must not hold the guard."""


# --- to the guard -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Setup:
    """The validated file: what to open, and by which limits. records: what the database knows for the guard.

    has_records: whether the database could be read.
    """

    pins: PumpPins
    limits: Limits
    records: Memory
    has_records: bool = True


@dataclass(frozen=True, slots=True)
class Ready:
    """The keeper keeps the bed."""


@dataclass(frozen=True, slots=True)
class Beat:
    """The keeper lives. status: one line for the service manager."""

    status: str = ""


@dataclass(frozen=True, slots=True)
class Sure:
    """Whether the wall clock is known to be right."""

    is_sure: bool


@dataclass(frozen=True, slots=True)
class Wires:
    """Simulated lines, by GPIO number and level, and pulses of the flow meter since the last message."""

    levels: tuple[tuple[int, bool], ...]
    pulses: int = 0


# --- from the guard -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Hello:
    """health: what the start found of the journal. memory: of it, as it counts now.

    last_keeper: how the keeper before this one ended, empty for the first. bed: whose guard it is; empty where that
    is for the file to say.
    """

    health: Health
    memory: Memory
    last_keeper: str = ""
    bed: str = ""


@dataclass(frozen=True, slots=True)
class Began:
    """The guard holds the lines. memory: what it begins with, or goes on with, where the keeper begins anew.

    running: the run that it makes meanwhile, until that instant. must_restart: the file's pins are others than
    those that are open.
    """

    memory: Memory
    running: int | None = None
    until_s: float = 0.0
    must_restart: bool = False


@dataclass(frozen=True, slots=True)
class Report:
    """The guard as it is. dropped: messages that did not go through the pipe."""

    state: State
    dropped: int = 0


class TroubleKind(StrEnum):
    RELAY_NOT_OFF = "relay-not-off"
    JOURNAL_NOT_KEPT = "journal-not-kept"
    NO_STOP_SOCKET = "no-stop-socket"


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that the guard's process met. text empty: it is over."""

    kind: TroubleKind
    text: str = ""


@dataclass(frozen=True, slots=True)
class RelayLevels:
    """The levels of the relays' lines, by GPIO number, for the simulated bed."""

    levels: tuple[tuple[int, bool], ...]


@dataclass(frozen=True, slots=True)
class Reload:
    """A person asks to read the file anew."""


@dataclass(frozen=True, slots=True)
class Finish:
    """End in good order."""


ToGuard = (
    Setup | Ready | Beat | Sure | Wires | Ask | Cut | Stop | BeginHold | EndHolds | Reserve | Disarm | Clear
    | NewLimits
)  # fmt: skip
FromGuard = (
    Hello | Began | Report | Trouble | RelayLevels | Reload | Finish | Granted | Refused | Ended | Tripped
    | TripEnded | LockLifted | LockStays | Held | HoldOver | Stopped | Seen | Flow
)  # fmt: skip

KINDS = {kind.__name__: kind for kind in (*ToGuard.__args__, *FromGuard.__args__)}


class Pipe:
    """One end. dropped: messages that could not be sent at once."""

    def __init__(self, end: socket.socket) -> None:
        self._end = end
        self.dropped = 0

    def fileno(self) -> int:
        return self._end.fileno()

    def send(self, message: ToGuard | FromGuard, at: Instant) -> bool:
        """Whether it went."""
        data = json.dumps([type(message).__name__, packed(at), packed(message)], separators=(",", ":")).encode()
        try:
            self._end.send(data, socket.MSG_DONTWAIT | socket.MSG_NOSIGNAL)
        except OSError:
            self.dropped += 1
            return False
        return True

    def receive(self, does_wait: bool = False) -> tuple[Any, Instant] | None:
        """The next message and when it was said; None if none is there.

        Raises: EOFError when the other end is gone; Misfit for a message that makes no sense.
        """
        try:
            data = self._end.recv(LONGEST_BYTES, 0 if does_wait else socket.MSG_DONTWAIT)
        except (BlockingIOError, TimeoutError):
            return None
        except OSError as problem:
            raise EOFError(str(problem)) from None
        if not data:
            raise EOFError("the other end is gone")
        return _message(data)

    def messages(self) -> Iterator[tuple[Any, Instant]]:
        """What is there now, a bounded number of them. Raises as `receive`."""
        for _ in range(MOST_AT_ONCE):
            found = self.receive()
            if found is None:
                return
            yield found

    def close(self) -> None:
        self._end.close()


def _message(data: bytes) -> tuple[Any, Instant]:
    try:
        name, at, body = json.loads(data)
        return unpacked(KINDS[name], body), unpacked(Instant, at)
    except (ValueError, KeyError, TypeError, RecursionError) as problem:
        raise Misfit(f"no message of ours: {problem}") from None
