"""A daemon as a process of its own, on mock pins moved by the simulated bed, in real time."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import Any

from waaler.notify.asking import ask

__all__ = ["FILE", "Daemon", "until"]

FILE = """\
bed: terrace
place: {timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}
clock: trusted
plan:
  - window: early
    cycles: 4
    between: ["05:30", "20:30"]
    water: 2 min
limits: {start_delay: 5 s, rest: 10 s}
sensing: {probes: [{name: pot_3, channel: 0, calibration: {dry: 820, wet: 380}}]}
"""


def until(condition: Callable[[], Any], what: str, seconds: float = 25.0) -> Any:
    """Waits for a condition, looked at every few hundredths; fails with what it waited for."""
    end_s = time.monotonic() + seconds
    never = Event()
    while time.monotonic() < end_s:
        found = condition()
        if found:
            return found
        never.wait(0.03)
    raise AssertionError(f"waited {seconds:g} s for {what}")


class Daemon:
    """A bed in a folder, and the process that keeps it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.file = folder / "terrace.yaml"
        self.file.write_text(FILE)
        self.log = folder / "log"
        self.process: subprocess.Popen[bytes] | None = None
        self.environment = {
            **os.environ,
            "XDG_STATE_HOME": str(folder / "state"),
            "RUNTIME_DIRECTORY": str(folder / "run"),  # short: a socket's path has at most 107 letters
        }
        for name in ("STATE_DIRECTORY", "NOTIFY_SOCKET"):
            self.environment.pop(name, None)

    @property
    def socket(self) -> Path:
        return self.folder / "run" / "terrace.sock"

    @property
    def guard_socket(self) -> Path:
        return self.socket.with_name("terrace.guard.sock")

    @property
    def keeper(self) -> int | None:
        """The process id of the guard's child, None while there is none."""
        assert self.process is not None
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        return int(children[0]) if children else None

    def ask_guard(self, do: str) -> dict[str, Any]:
        return ask(self.guard_socket, {"do": do}, 6.0)

    def start(self, *options: str, pass_fds: tuple[int, ...] = ()) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self._command("run", "--simulated", "--log", "json", *options),
                env=self.environment,
                stderr=log,
                cwd=self.folder,
                pass_fds=pass_fds,
            )
        until(self.answers, "the daemon's first answer")

    def instance(self, bed: str) -> subprocess.Popen[bytes]:
        """As the unit starts it: the bed is the instance's, whatever the file says."""
        run, state = self.folder / "run", self.folder / "state" / "waaler" / bed
        for folder in (run, state):
            folder.mkdir(parents=True, exist_ok=True)
        python = [sys.executable, "-P", "-m"]
        guard = [*python, "waaler.guard_process", bed, str(run), str(state), "--simulated"]
        keeper = [*python, "waaler.cli.main", "keep", "--log", "json", "--simulated", str(self.file)]
        with self.log.open("ab") as log:
            return subprocess.Popen([*guard, "--", *keeper], env=self.environment, stderr=log, cwd=self.folder)

    def command(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            self._command(*words), env=self.environment, capture_output=True, text=True, cwd=self.folder, timeout=30
        )

    def order(self, **order: Any) -> dict[str, Any]:
        return ask(self.socket, order, 6.0)

    def say(self, line: str) -> dict[str, Any]:
        """Whatever the line is, JSON or not."""
        with socket.socket(socket.AF_UNIX) as talk:
            talk.settimeout(6.0)
            talk.connect(str(self.socket))
            talk.sendall(line.encode() + b"\n")
            answer: dict[str, Any] = json.loads(talk.makefile("rb").readline())
            return answer

    def status(self) -> dict[str, Any]:
        return self.order(do="status")

    def water(self, seconds: float) -> None:
        """Once the start delay is over."""
        until(lambda: self.order(do="water", seconds=seconds)["ok"], "a run by hand that is granted", 30.0)

    def history(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = json.loads(self.command("history", "--json").stdout)["runs"]
        return found

    def end(self, number: int = signal.SIGTERM) -> int:
        """Of the guard; the keeper, whose end follows, has gone too when this returns."""
        assert self.process is not None
        keeper = self.keeper
        self.process.send_signal(number)
        status = self.process.wait(timeout=15)
        until(lambda: not Path(f"/proc/{keeper}").exists(), "the keeper's end")
        return status

    def answers(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, self.log.read_text()
        try:
            return bool(self.status()["ok"])
        except OSError:
            return False

    def _command(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "waaler.cli.main", *words, str(self.file)]
