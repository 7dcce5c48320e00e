"""What the daemon costs a small machine, beside the bare libraries: python -m tests.bench.footprint [--quick]

One core and, where this system lets a memory limit be set, 128 MB. The daemon keeps a simulated bed in real time; the
bare process imports what the daemon imports, or reads the same simulated inputs at the same rates and does no more.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.bench.machine import machine
from tests.bench.table import Row, lines, ratio
from tests.records.facts import whole_run

from waaler.guard.messages import Instant
from waaler.notify.asking import ask
from waaler.records.store import Sample, Store

__all__ = ["rows"]

LIMIT_BYTES = 128 * 1024 * 1024
SENSORS = ("pot_1", "pot_2", "pot_3", "pot_4", "air")
RUNS_A_DAY = 5
BED = """\
bed: terrace
place: {timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}
clock: trusted
plan:
  - {window: early, cycles: 4, between: ["05:30", "20:30"], water: 2 min}
sensing:
  probes:
    - {name: pot_1, channel: 0, calibration: {dry: 820, wet: 380}}
    - {name: pot_2, channel: 1, calibration: {dry: 820, wet: 380}}
    - {name: pot_3, channel: 2, calibration: {dry: 820, wet: 380}}
    - {name: pot_4, channel: 3, calibration: {dry: 820, wet: 380}}
"""
CHECK = "from waaler.cli.main import main; main()"
DAEMON_IMPORTS = """\
import waaler.cli.main, waaler.cli.keep
with waaler.cli.keep._without("rich"):
    import structlog
import waaler.keeper.daemon
"""
LOADED = """\
import json, runpy, sys
before = set(sys.modules)
{deed}
print("\\n" + json.dumps([name for name in sys.modules if name not in before and not name.startswith("waaler")]))
"""
IMPORTS = """\
import importlib, json, sys, threading
for name in json.loads({names!r}):
    try:
        importlib.import_module(name)
    except Exception:
        pass
"""
LOOP = """\
import threading, time
from contextlib import ExitStack
from waaler.devices.lines import mock_lines
from waaler.devices.pump_lines import open_pump_lines
from waaler.guard_process.pump import POLL_IDLE_S
from waaler.keeper.opening import open_simulated
from waaler.keeper.senses import READ_EVERY_S
from waaler.settings import load
import sys
from pathlib import Path
site = open_simulated(load(Path(sys.argv[1])), lambda _: True, ExitStack())
site.start()
bench, lines = site.bench, open_pump_lines(site.pins, mock_lines())
wait, next_s = threading.Event(), 0.0
while True:
    for read in lines.levels.values():
        read()
    if time.monotonic() >= next_s:
        next_s = time.monotonic() + READ_EVERY_S
        for read in bench.advisers.values():
            read()
    wait.wait(POLL_IDLE_S)
"""


class Box:
    """A folder with a bed's file, and processes on one core below a memory limit if there can be one."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "terrace.yaml"
        self.file.write_text(BED)
        self._folder = folder
        self.socket = folder / "run/terrace.sock"
        self.environment = {
            "PATH": os.environ["PATH"],
            "XDG_STATE_HOME": str(folder / "state"),
            "RUNTIME_DIRECTORY": str(folder / "run"),
        }
        self._group = _memory_group(f"waaler-bench-{os.getpid()}")

    @property
    def is_limited(self) -> bool:
        return self._group is not None

    def close(self) -> None:
        if self._group is not None:
            self._group.rmdir()

    def start(self, *words: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            words,
            env=self.environment,
            cwd=self._folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            preexec_fn=self._enter,
        )

    def _enter(self) -> None:
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        if self._group is not None:
            (self._group / "cgroup.procs").write_text(str(os.getpid()))


def _memory_group(name: str) -> Path | None:
    """A group of processes with the limit, by either version of the kernel's interface; None where it may not be."""
    for top, file in (("/sys/fs/cgroup", "memory.max"), ("/sys/fs/cgroup/memory", "memory.limit_in_bytes")):
        group = Path(top, name)
        if not Path(top, "cgroup.procs").exists():
            continue
        try:
            group.mkdir()
        except OSError:
            continue
        try:
            (group / file).write_text(str(LIMIT_BYTES))
        except OSError:
            group.rmdir()
            continue
        return group
    return None


@contextmanager
def running(box: Box, *words: str) -> Iterator[subprocess.Popen[str]]:
    process = box.start(*words)
    try:
        yield process
    finally:
        process.terminate()
        process.wait(10)


# --- what is measured -------------------------------------------------------------------------


def resident_mb(pid: int) -> float:
    found = Path("/proc", str(pid), "status").read_text().split("VmRSS:")[1].split()[0]
    return int(found) / 1024


def cpu_s(*pids: int) -> float:
    """Of these processes together."""
    stats = (Path("/proc", str(pid), "stat").read_text().rpartition(")")[2].split() for pid in pids)
    return sum(int(fields[11]) + int(fields[12]) for fields in stats) / os.sysconf("SC_CLK_TCK")


def keeper_of(guard: int) -> int:
    return int(Path(f"/proc/{guard}/task/{guard}/children").read_text().split()[0])


def share(seconds: float, *pids: int) -> float:
    """Of a core, over so many seconds."""
    began, begin_s = cpu_s(*pids), time.monotonic()
    threading.Event().wait(seconds)
    return (cpu_s(*pids) - began) / (time.monotonic() - begin_s)


def answers_after_s(box: Box, begin_s: float) -> float:
    while time.monotonic() < begin_s + 60:
        try:
            ask(box.socket, {"do": "status"})
        except (OSError, ValueError):
            time.sleep(0.01)
            continue
        return time.monotonic() - begin_s
    raise TimeoutError("the daemon does not answer")


def cpu_of(box: Box, times: int, *programs: Sequence[str]) -> list[float]:
    """The least CPU seconds of each program, run in turns: a machine with other work tells no useful elapsed time."""
    found: list[list[float]] = [[] for _ in programs]
    for _ in range(times):
        for program, seconds in zip(programs, found, strict=True):
            before = _children_s()
            box.start(*program).communicate()
            seconds.append(_children_s() - before)
    return [min(seconds) for seconds in found]


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def libraries(box: Box, deed: str) -> str:
    """A program that imports what a deed of ours imported, ours left out."""
    told, _ = box.start(sys.executable, "-c", LOADED.format(deed=deed)).communicate()
    return IMPORTS.format(names=json.dumps(json.loads(told.splitlines()[-1])))


def bytes_of_a_day(folder: Path) -> tuple[float, float]:
    """What the kernel counts as written for a day of samples and runs, and what their rows hold, MB.

    The third day, after the log has found its size.
    """
    written = 0.0
    store = Store(folder / "terrace.db", "boot-1")
    for day in range(3):
        before = _written_bytes()
        _write_day(store, 86_400.0 * (20_000 + day), day)
        written = _written_bytes() - before
    store.close()
    row_bytes = 4 + 1 + 3 * 3
    return written / 1e6, len(SENSORS) * 1440 * row_bytes / 1e6


def _write_day(store: Store, begin_s: float, day: int) -> None:
    for ten in range(144):
        at = Instant(begin_s + 600 * ten, begin_s + 600 * ten)
        store.write_samples(
            [
                Sample(name, "%", at.wall_s + 60 * n, 70 + n * 0.37 + ten * 0.01, 69.1, 81.2)
                for n in range(10)
                for name in SENSORS
            ],
            at,
        )
        store.thin(at)
        if ten % (144 // RUNS_A_DAY) == 0:
            for fact in whole_run(200 * day + ten, 0.0, run_at=at):
                store.write([fact])


def _written_bytes() -> int:
    told = Path("/proc/self/io").read_text()
    return int(told.split("\nwrite_bytes:")[1].split()[0])


# --- the rows ---------------------------------------------------------------------------------


def rows(is_quick: bool) -> Iterator[Row]:
    with ExitStack() as stack:
        # /tmp may be memory, of which the kernel would count nothing as written
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(dir="/var/tmp", prefix="waaler-bench-")))
        box = Box(folder)
        stack.callback(box.close)
        yield from daemon_rows(box, 15.0 if is_quick else 120.0)
        yield check_row(box, 4 if is_quick else 15)
        written, bare = bytes_of_a_day(folder)
        yield Row(
            "bytes written a day, 5 sensors",
            f"{written:.1f} MB",
            f"{bare:.2f} MB",
            ratio(written, bare),
            "5 MB",
            written <= 5,
        )


def daemon_rows(box: Box, seconds: float) -> Iterator[Row]:
    waaler = str(Path(sys.executable).with_name("waaler"))
    begin_s = time.monotonic()
    with running(box, waaler, "run", "--simulated", "--log", "json", str(box.file)) as daemon:
        ready_s, keeper = answers_after_s(box, begin_s), keeper_of(daemon.pid)
        ready_cpu_s = cpu_s(daemon.pid, keeper)
        threading.Event().wait(5)
        cpu = share(seconds, daemon.pid, keeper)
        guard_mb, mb = resident_mb(daemon.pid), resident_mb(keeper)
    bare = libraries(box, DAEMON_IMPORTS)
    (import_s,) = cpu_of(box, 3, (sys.executable, "-c", bare))
    with running(box, sys.executable, "-c", f"{bare}\nthreading.Event().wait()") as process:
        threading.Event().wait(3)
        bare_mb = resident_mb(process.pid)
    with running(box, sys.executable, "-c", LOOP, str(box.file)) as process:
        threading.Event().wait(5)
        bare_cpu = share(seconds, process.pid)
    yield Row("start to first answer, elapsed", f"{ready_s:.2f} s")
    yield Row("the same, CPU", f"{ready_cpu_s:.2f} s", f"{import_s:.2f} s", ratio(ready_cpu_s, import_s))
    yield Row("resident memory, the guard", f"{guard_mb:.1f} MB", "", "", "24 MB", guard_mb <= 24)
    both_mb = guard_mb + mb
    yield Row(
        f"  guard and keeper ({'128 MB' if box.is_limited else 'no limit'})", f"{both_mb:.1f} MB",
        f"{bare_mb:.1f} MB", ratio(both_mb, bare_mb), "80 MB", both_mb <= 80,
    )  # fmt: skip
    yield Row(
        "idle CPU, of a core", f"{100 * cpu:.2f} %", f"{100 * bare_cpu:.2f} %", ratio(cpu, bare_cpu), "2 x, 2 %",
        cpu <= 0.02 and cpu <= 2 * bare_cpu,
    )  # fmt: skip


def check_row(box: Box, times: int) -> Row:
    deed = f"sys.argv = ['waaler', 'check', {str(box.file)!r}]\ntry:\n    {CHECK}\nexcept SystemExit:\n    pass"
    check = (str(Path(sys.executable).with_name("waaler")), "check", str(box.file))
    check_s, import_s = cpu_of(box, times, check, (sys.executable, "-c", libraries(box, deed)))
    return Row(
        "check, start to end, CPU", f"{1000 * check_s:.0f} ms", f"{1000 * import_s:.0f} ms",
        ratio(check_s, import_s), "1.5 x", check_s <= 1.5 * import_s,
    )  # fmt: skip


if __name__ == "__main__":
    print(machine())
    print("\n".join(lines(rows("--quick" in sys.argv[1:]))))
