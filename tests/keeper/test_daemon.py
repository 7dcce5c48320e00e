"""The daemon as a process of its own, on mock pins moved by the simulated bed, in real time."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event
from typing import Any

import pytest

from waaler.notify.asking import ask

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
            "XDG_RUNTIME_DIR": str(folder / "run"),
        }
        for name in ("STATE_DIRECTORY", "RUNTIME_DIRECTORY", "NOTIFY_SOCKET"):
            self.environment.pop(name, None)

    @property
    def socket(self) -> Path:
        return self.folder / "run" / "waaler" / "terrace" / "terrace.sock"

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self._command("run", "--simulated", "--log", "json"),
                env=self.environment,
                stderr=log,
                cwd=self.folder,
            )
        until(self._answers, "the daemon's first answer")

    def command(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            self._command(*words), env=self.environment, capture_output=True, text=True, cwd=self.folder, timeout=30
        )

    def order(self, **order: Any) -> dict[str, Any]:
        return ask(self.socket, order, 6.0)

    def status(self) -> dict[str, Any]:
        return self.order(do="status")

    def water(self, seconds: float) -> None:
        """Once the start delay is over."""
        until(lambda: self.order(do="water", seconds=seconds)["ok"], "a run by hand that is granted", 30.0)

    def history(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = json.loads(self.command("history", "--json").stdout)["runs"]
        return found

    def end(self, number: int = signal.SIGTERM) -> int:
        assert self.process is not None
        self.process.send_signal(number)
        return self.process.wait(timeout=15)

    def _answers(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, self.log.read_text()
        try:
            return bool(self.status()["ok"])
        except OSError:
            return False

    def _command(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "waaler.cli.main", *words, str(self.file)]


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    found = Daemon(tmp_path)
    yield found
    if found.process is not None and found.process.poll() is None:
        found.process.kill()
        found.process.wait(timeout=5)


# --- refusals ---------------------------------------------------------------------------------


def test_without_a_daemon_an_order_is_answered_in_one_line(daemon: Daemon) -> None:
    done = daemon.command("status")

    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "no daemon answers for terrace; start it with `waaler run` or its unit\n"


def test_without_pins_the_daemon_does_not_start_on_real_lines(daemon: Daemon) -> None:
    done = daemon.command("run")

    assert done.returncode in (1, 2)
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_bad_file_and_no_accepted_one_ends_with_its_faults(daemon: Daemon) -> None:
    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: four"))

    done = daemon.command("run", "--simulated")

    assert done.returncode == 2
    assert "terrace.yaml:6:13: plan.cycles: 'four' cannot be read here" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_second_daemon_for_the_same_bed_is_refused(daemon: Daemon) -> None:
    daemon.start()

    done = daemon.command("run", "--simulated")

    assert done.returncode == 1
    assert done.stderr.startswith("another daemon keeps this bed")
    assert daemon.status()["ok"]


# --- the main job -----------------------------------------------------------------------------


def test_a_run_by_hand_an_edit_a_bad_edit_and_a_clean_end(daemon: Daemon) -> None:
    daemon.start()
    until(lambda: set(daemon.status()["inputs"].values()) == {"good"}, "good inputs")
    daemon.water(2)
    until(lambda: daemon.status()["run"] is None, "the end of the run")

    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: 6"))
    until(lambda: "plan_taken" in daemon.log.read_text(), "the edited plan")
    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: six"))
    alert = until(lambda: daemon.status()["alerts"], "the alert of the bad edit")[0]
    assert alert["kind"] == "plan-rejected"
    assert "terrace.yaml:6:13: plan.cycles: 'six' cannot be read here" in alert["text"]
    assert daemon.command("status").returncode == 0

    daemon.water(60)
    assert daemon.end() == 0
    daemon.file.write_text(FILE)

    runs = [run for run in daemon.history() if run["outcome"] != "refused"]
    assert [run["outcome"] for run in runs] == ["done", "stopped"]
    assert runs[0]["ran_seconds"] == pytest.approx(2.0, abs=0.2)
    assert runs[1]["ended_because"] == "the daemon was stopped"


def test_a_kill_in_a_run_is_found_at_the_next_start_and_counts_to_its_deadline(daemon: Daemon) -> None:
    daemon.start()
    daemon.water(60)
    until(lambda: daemon.status()["run"] is not None, "the run")
    daemon.end(signal.SIGKILL)
    daemon.start()

    (run,) = [run for run in daemon.history() if run["outcome"] != "refused"]
    assert run["outcome"] == "interrupted"
    assert daemon.status()["pump_seconds_24h"] == pytest.approx(60.0, abs=0.5)


def test_a_start_with_a_bad_file_runs_the_last_accepted_one_and_alerts(daemon: Daemon) -> None:
    daemon.start()
    daemon.end()
    daemon.file.write_text(FILE.replace("cycles: 4", "cycles: four"))
    daemon.start()

    alerts = until(lambda: daemon.status()["alerts"], "the alert of the bad file")

    assert [alert["kind"] for alert in alerts] == ["plan-rejected"]
    assert daemon.status()["next"] is not None


def test_orders_over_the_commands(daemon: Daemon) -> None:
    daemon.start()

    assert daemon.command("pause", "3h").stdout.startswith("pause until ")
    assert daemon.status()["state"] == "pause"
    assert daemon.command("resume").stdout == "pause ended; the plan goes on\n"
    assert daemon.command("refill", "60L").stdout == "refill entered: 60 L\n"
    refused = daemon.command("clear")
    assert (refused.returncode, refused.stdout) == (1, "nothing is locked; other trips end by themselves\n")
    wrong = daemon.command("water", "soon")
    assert wrong.returncode == 2
    assert "write 4 min, 90 s or 1 h 30 min" in wrong.stderr
