"""Guard and keeper as real processes, killed, stopped and starved apart and together; the relay's own trace is the truth."""

import fcntl
import json
import os
import resource
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest
from tests.keeper.process import Daemon, until

F_SETPIPE_SZ = 1031
MEMORY_KB = 24 * 1024


class Trace:
    """What the relay told: instants of the boot clock at which it went on and off."""

    def __init__(self) -> None:
        self.reader, self.writer = os.pipe()
        os.set_blocking(self.reader, False)
        self._text = ""

    def spans(self) -> list[tuple[float, float | None]]:
        with suppress(BlockingIOError):
            self._text += os.read(self.reader, 65_536).decode()
        found: list[tuple[float, float | None]] = []
        for line in self._text.split("\n")[:-1]:
            what, at_s = line.split()
            if what == "on":
                found.append((float(at_s), None))
            else:
                found[-1] = (found[-1][0], float(at_s))
        return found

    def is_on(self) -> bool:
        spans = self.spans()
        return bool(spans) and spans[-1][1] is None


@pytest.fixture
def trace() -> Trace:
    return Trace()


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    found = Daemon(tmp_path)
    yield found
    if found.process is not None and found.process.poll() is None:
        keeper = found.keeper
        found.process.kill()
        found.process.wait(timeout=5)
        if keeper is not None:
            with suppress(ProcessLookupError):
                os.kill(keeper, signal.SIGKILL)


def start(daemon: Daemon, trace: Trace) -> None:
    daemon.start("--relay-trace", str(trace.writer), pass_fds=(trace.writer,))


def lasted(trace: Trace) -> float:
    """Seconds of the last span, once it has ended."""
    until(lambda: trace.spans() and not trace.is_on(), "the relay's end", 40.0)
    began_s, ended_s = trace.spans()[-1]
    assert ended_s is not None
    return ended_s - began_s


# --- the keeper fails ---------------------------------------------------------------------------


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
def test_a_keeper_that_dies_or_stands_still_leaves_the_run_to_its_deadline(
    daemon: Daemon, trace: Trace, number: signal.Signals
) -> None:
    start(daemon, trace)
    daemon.water(6)
    keeper = daemon.keeper
    assert keeper is not None
    os.kill(keeper, number)

    assert lasted(trace) == pytest.approx(6.0, abs=0.2)
    os.kill(keeper, signal.SIGKILL) if number is signal.SIGSTOP else None
    until(lambda: daemon.keeper not in (None, keeper) and daemon.answers(), "another keeper")
    (run,) = until(lambda: [r for r in daemon.history() if r["outcome"] == "done"], "its end in the history")
    assert run["ran_seconds"] == pytest.approx(6.0, abs=0.2)
    assert "restarted" in {alert["kind"] for alert in daemon.status()["alerts"]}


def test_stop_ends_the_run_while_the_keeper_stands_still(daemon: Daemon, trace: Trace) -> None:
    start(daemon, trace)
    daemon.water(60)
    keeper = daemon.keeper
    assert keeper is not None
    os.kill(keeper, signal.SIGSTOP)
    done = daemon.command("stop")
    os.kill(keeper, signal.SIGCONT)

    assert (done.returncode, done.stdout, done.stderr) == (0, "stopped; the plan goes on with its next cycle\n", "")
    assert lasted(trace) < 10.0
    assert daemon.command("stop").stdout == "nothing was running; the plan goes on with its next cycle\n"


def test_an_error_stream_that_nobody_reads_holds_neither_relay_nor_orders(daemon: Daemon, trace: Trace) -> None:
    reader, writer = os.pipe()
    fcntl.fcntl(writer, F_SETPIPE_SZ, 4096)
    daemon.process = subprocess.Popen(
        daemon._command("run", "--simulated", "--log", "json", "--relay-trace", str(trace.writer)),
        env=daemon.environment, stderr=writer, cwd=daemon.folder, pass_fds=(trace.writer,),
    )  # fmt: skip
    until(daemon.answers, "the first answer")
    for _ in range(40):
        daemon.order(do="note", text="x" * 400)
    daemon.water(3)

    assert lasted(trace) == pytest.approx(3.0, abs=0.2)
    assert daemon.order(do="note", text="still here")["ok"]
    assert daemon.end() == 0
    os.close(reader)


def test_without_a_free_file_handle_the_keepers_socket_comes_back(daemon: Daemon) -> None:
    daemon.start()
    keeper = daemon.keeper
    assert keeper is not None
    used = {int(name) for name in os.listdir(f"/proc/{keeper}/fd")}
    before = resource.prlimit(keeper, resource.RLIMIT_NOFILE)
    resource.prlimit(keeper, resource.RLIMIT_NOFILE, (next(n for n in range(4096) if n not in used), before[1]))
    with closing(socket.socket(socket.AF_UNIX)) as talk:
        talk.settimeout(3)
        talk.connect(str(daemon.socket))
        with suppress(OSError):
            talk.recv(100)
        resource.prlimit(keeper, resource.RLIMIT_NOFILE, before)

    until(daemon.answers, "an answer again")


# --- the guard fails ----------------------------------------------------------------------------


def test_s1_s7_a_guard_that_stood_still_past_a_deadline_locks_and_the_whole_time_is_in_the_history(
    daemon: Daemon, trace: Trace
) -> None:
    start(daemon, trace)
    daemon.water(2)
    assert daemon.process is not None
    os.kill(daemon.process.pid, signal.SIGSTOP)
    pause_s = 8.0
    end_s = time.monotonic() + pause_s
    until(lambda: time.monotonic() > end_s, "the time to pass")
    os.kill(daemon.process.pid, signal.SIGCONT)

    seconds = lasted(trace)
    assert seconds > pause_s - 1.0
    status = until(lambda: (s := daemon.status())["state"] == "locked" and s, "the lock")
    assert "locked: ran too long" in status["trips"]
    (run,) = until(lambda: [r for r in daemon.history() if r["outcome"] == "cut short"], "the run in the history")
    assert run["ran_seconds"] == pytest.approx(seconds, abs=0.2)


def test_a_guard_that_is_killed_takes_the_keeper_with_it_and_the_next_counts_the_run_to_its_deadline(
    daemon: Daemon, trace: Trace
) -> None:
    start(daemon, trace)
    daemon.water(60)
    keeper = daemon.keeper
    daemon.end(signal.SIGKILL)
    until(lambda: not Path(f"/proc/{keeper}").exists(), "the keeper's end")
    start(daemon, trace)

    assert daemon.status()["pump_seconds_24h"] == pytest.approx(60.0, abs=0.5)
    assert [run["outcome"] for run in daemon.history() if run["ran_seconds"] > 0] == ["interrupted"]


# --- what a start remembers -----------------------------------------------------------------------


def database(daemon: Daemon) -> Path:
    (found,) = (daemon.folder / "state").rglob("terrace.db")
    return found


@pytest.mark.parametrize("trouble", ["held", "gone", "a folder", "read-only"])
def test_s7_s14_a_start_without_its_database_keeps_locks_service_and_pump_time(
    daemon: Daemon, trace: Trace, trouble: str
) -> None:
    start(daemon, trace)
    daemon.water(2)
    lasted(trace)
    used_s = until(lambda: (s := daemon.status()["pump_seconds_24h"]) > 1.9 and s, "the run's time")
    assert daemon.order(do="service", seconds=3600)["ok"]
    highest = max(run["run"] for run in daemon.history())
    daemon.end()
    path = database(daemon)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        if trouble == "held":
            other.execute("BEGIN IMMEDIATE")
        else:
            other.close()
            for tail in ("", "-wal", "-shm"):
                path.with_name(path.name + tail).unlink(missing_ok=True)
        if trouble == "a folder":
            path.mkdir()
        if trouble == "read-only":
            path.write_bytes(b"")
            path.chmod(0o400)
        start(daemon, trace)
        status = daemon.status()
        refused = daemon.order(do="water", seconds=5)
        other.close()

    assert status["state"] == "service"
    assert status["pump_seconds_24h"] == pytest.approx(used_s, abs=0.1)
    assert (refused["ok"], "service" in refused["text"]) == (False, True)
    assert daemon.order(do="resume")["ok"]
    daemon.water(1)
    journal = daemon.folder / "state" / "waaler" / "terrace" / "terrace.guard"
    until(
        lambda: json.loads(journal.read_bytes().splitlines()[-1][9:])["memory"]["last_run_id"] > highest,
        "a new run id",
    )


def test_a_service_ordered_while_an_intent_waits_for_its_commit_keeps_the_pump_off(
    daemon: Daemon, trace: Trace
) -> None:
    start(daemon, trace)
    daemon.water(1)
    lasted(trace)
    until(lambda: daemon.status()["held_by"] is None, "the rest", 30.0)
    with closing(sqlite3.connect(database(daemon), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        asks = subprocess.Popen(daemon._command("water", "5s"), env=daemon.environment, stdout=subprocess.PIPE)
        until(lambda: "run_intended" in daemon.log.read_text().splitlines()[-1], "the intent")
        assert daemon.order(do="service", seconds=600)["ok"]
        asks.wait(timeout=15)
        end_s = time.monotonic() + 3.0
        until(lambda: time.monotonic() > end_s, "more than an intent waits for")

    assert len(trace.spans()) == 1
    assert daemon.status()["state"] == "service"


# --- what the guard is made of ----------------------------------------------------------------------

FORBIDDEN = {
    "yaml",
    "sqlite3",
    "pydantic",
    "structlog",
    "click",
    "rich",
    "apscheduler",
    "paho",
    "astral",
    "zoneinfo",
}
ROOMS = {"waaler.guard", "waaler.guard_process", "waaler.devices", "waaler.bed"}
DEVICES = {"clock", "floats", "flow", "lines", "local_socket", "pipe", "pump_lines", "relay"}
LIST = "import sys, waaler.guard_process.__main__ as m; print('\\n'.join(sys.modules))"


def test_the_guards_process_loads_its_own_rooms_and_the_pins_alone() -> None:
    done = subprocess.run([sys.executable, "-P", "-c", LIST], capture_output=True, text=True, check=True)
    modules = set(done.stdout.split())

    ours = {module for module in modules if module.startswith("waaler.")}
    assert not {module.split(".")[0] for module in modules} & FORBIDDEN
    assert {".".join(module.split(".")[:2]) for module in ours} <= ROOMS
    assert {module.split(".")[2] for module in ours if module.startswith("waaler.devices.")} <= DEVICES
    assert {module for module in ours if module.startswith("waaler.bed.")} <= {
        "waaler.bed.wiring",
        "waaler.bed.scale",
    }
    theirs = {module.split(".")[0] for module in modules} - sys.stdlib_module_names - {"waaler"}
    assert {name for name in theirs if not name.startswith("_")} <= {"gpiozero", "colorzero", "lgpio"}


def test_the_guards_process_takes_no_more_than_24_mb(daemon: Daemon) -> None:
    daemon.start()
    daemon.water(1)
    assert daemon.process is not None
    status = Path(f"/proc/{daemon.process.pid}/status").read_text()
    resident_kb = int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1])

    assert resident_kb <= MEMORY_KB
