"""The keeper as a child of the guard: started, watched, ended and begun again."""

import os
import signal
import socket

from waaler.devices.pipe import PIPE_VARIABLE, Pipe

__all__ = ["KeeperChild"]

FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0
STEADY_S = 300.0
"""A keeper that lasted so long is begun again at once."""

HANGS_AFTER_LOOKS = 30
"""Looks, one a second, without a beat of a keeper that has once been ready.

A large file takes a small board many seconds to read, and meanwhile the guard keeps the bed safe.
"""

LOADS_FOR_LOOKS = 180
"""The same before it is ready: the slowest boards load its libraries for a minute."""


class KeeperChild:
    """command: its words. Nothing here waits for it.

    pipe: our end, None while no keeper runs. status: how the last one ended, None while none has.
    """

    def __init__(self, command: list[str]) -> None:
        self._command = command
        self._pid: int | None = None
        self._wait_s = FIRST_WAIT_S
        self._begun_s = 0.0
        self._looks = 0
        self.begin_at_s = 0.0
        self.pipe: Pipe | None = None
        self.status: int | None = None
        self.is_ready = False

    @property
    def is_there(self) -> bool:
        return self._pid is not None

    def begin(self, now_s: float) -> None:
        """Starts it in a process group of its own: Ctrl-C is for the guard, which ends it in order."""
        try:
            ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        except OSError:
            self._wait(now_s)
            return
        theirs.set_inheritable(True)
        try:
            environment = {**os.environ, PIPE_VARIABLE: str(theirs.fileno())}
            environment.pop("NOTIFY_SOCKET", None)
            self._pid = os.posix_spawn(
                self._command[0], self._command, environment, setpgroup=0, setsigdef=[signal.SIGINT, signal.SIGTERM]
            )
        except OSError:
            ours.close()
            self._wait(now_s)
            return
        finally:
            theirs.close()
        self.pipe, self.is_ready, self._looks, self._begun_s = Pipe(ours), False, 0, now_s

    def heard(self) -> None:
        """It said something."""
        self._looks = 0

    def look(self) -> str | None:
        """Once a second: why it must be ended, None while it may go on."""
        self._looks += 1
        if self._pid is not None and self._looks > (HANGS_AFTER_LOOKS if self.is_ready else LOADS_FOR_LOOKS):
            return f"it said nothing for {self._looks} s"
        return None

    def has_ended(self, now_s: float) -> bool:
        """True once after its end; then it is due to begin again at begin_at_s."""
        if self._pid is None:
            return False
        pid, status = os.waitpid(self._pid, os.WNOHANG)
        if pid == 0:
            return False
        self.status, self._pid, self.is_ready = os.waitstatus_to_exitcode(status), None, False
        if self.pipe is not None:
            self.pipe.close()
            self.pipe = None
        if now_s - self._begun_s > STEADY_S:
            self._wait_s = FIRST_WAIT_S
        self._wait(now_s)
        return True

    def kill(self) -> None:
        if self._pid is not None:
            os.kill(self._pid, signal.SIGKILL)

    def _wait(self, now_s: float) -> None:
        self.begin_at_s = now_s + self._wait_s
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)
