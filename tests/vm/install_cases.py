"""Installed offline, started, reloaded, killed, hung, upgraded in the middle of a run and taken back, all by systemd."""

import os
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from bed import FILE, RELAY, UNIT, Floats, history, main_pid, new_chip, shell, status, until, water, write_file
from gpiosim import Trace, persist

WATCHDOG_S = 10
PAGE = "waaler-page"
failures = []


def row(what, found, is_right):
    print(f"{'ok   ' if is_right else 'WRONG'} {what:40} {found}", flush=True)
    if not is_right:
        failures.append(what)


def install(*words, folder="wheels"):
    began = time.monotonic()
    done = subprocess.run(
        ["sh", "/host/systemd/install", "--wheels", f"/host/{folder}", *words],
        capture_output=True,
        text=True,
        timeout=900,
    )
    print("    " + (done.stdout + done.stderr).strip().replace("\n", "\n    "), flush=True)
    return done.returncode == 0, f"{time.monotonic() - began:.0f} s"


def shown(unit, key):
    return shell("systemctl", "show", "-P", key, unit)


def is_up():
    return shown(UNIT, "ActiveState") == "active" and status().get("bed") == "terrace"


def first_install():
    is_done, told = install()
    row("installed from a folder of wheels", told, is_done)
    row("the bed answers", status().get("state"), until(is_up, 60, 1) is not None)
    failed = shell("systemctl", "--failed", "--no-legend", "--plain")
    row("no unit failed", failed or "none", not failed)
    row("the notifier has nothing to do", shown("waaler-notify@terrace", "Result"), True)


def page():
    def text(path):
        with urllib.request.urlopen(f"http://127.0.0.1:8080{path}", timeout=30) as answer:
            return answer.read().decode()

    def answers():
        try:
            return "terrace" in text("/")
        except OSError:
            return False

    row("the page shows the bed", "", until(answers, 90, 2) is not None)
    connect = "import socket; socket.socket(socket.AF_UNIX).connect('/run/waaler/terrace/terrace.sock')"
    user = ("setpriv", "--reuid", "waaler-page", "--regid", "waaler-page", "--groups", "waaler-read")
    told = shell(*user, "python3", "-c", connect).splitlines()[-1]
    row("its user cannot reach the socket", told, "PermissionError" in told)
    told = shell(*user, "python3", "-c", "open('/var/lib/waaler/terrace/terrace.db', 'rb').read(1)")
    row("its user can read the records", told or "yes", told == "")
    told = shell(*user, "python3", "-c", "open('/var/lib/waaler/terrace/terrace.db', 'ab')").splitlines()[-1]
    row("its user cannot write them", told, "PermissionError" in told)


def reload():
    FILE.write_text(FILE.read_text().replace("03:03", "04:04"))
    told = shell("systemctl", "reload", UNIT)
    seconds = until(lambda: "04:04" in status().get("next", {}).get("start", ""), 20, 0.5)
    row("systemctl reload takes a new plan", told or f"after {seconds or 99:.1f} s", seconds is not None)


def footprint(seconds=60):
    """From the units' own groups; a Python loop is 13 times slower here than on the machine below."""
    begin = {unit: int(shown(unit, "CPUUsageNSec")) for unit in (UNIT, PAGE)}
    time.sleep(seconds)
    for unit, before in begin.items():
        cpu = (int(shown(unit, "CPUUsageNSec")) - before) / 1e9 / seconds
        memory = int(shown(unit, "MemoryCurrent")) / 2**20
        pid = shown(unit, "MainPID")
        resident = int(Path(f"/proc/{pid}/status").read_text().split("VmRSS:")[1].split()[0]) / 1024
        found = f"group {memory:.1f} MB, resident {resident:.1f} MB, {100 * cpu:.1f} % of this slow core"
        row(f"footprint of {unit.split('@')[0]}", found, resident <= 64 if unit == UNIT else True)


def bare_ms():
    """What any stop-post command costs here at this moment: an empty one in the unit's sandbox, and bare imports.

    An emulated machine is many times slower than a board, and this one may be busy besides.
    """
    sandbox = [
        word
        for line in Path("/etc/systemd/system/waaler@.service").read_text().splitlines()
        if line.split("=")[0].startswith(("Protect", "Private", "Restrict", "SystemCall", "Lock", "MemoryDeny"))
        and not line.startswith("RestartSec")
        for word in ("-p", line)
    ]
    run = ("systemd-run", "--wait", "--quiet", "--collect")
    within = took_ms(*run, *sandbox, "/bin/true") - took_ms(*run, "/bin/true")
    return within + took_ms("/opt/waaler/current/bin/python", "-I", "-c", "import json, lgpio")


def took_ms(*words):
    began = time.monotonic()
    shell(*words)
    return 1000 * (time.monotonic() - began)


def dies(chip, what, deed, after_s=0.0):
    """In a run: off within 1 s of its end, or of the watchdog's time; the bare cost beside it tells the machine's part."""
    if water() is None:
        row(what, "no run was granted", False)
        return
    bare = bare_ms()
    with Trace(chip) as trace:
        sent = time.monotonic()
        deed()
        until(lambda: not chip.level(RELAY), after_s + 8)
        time.sleep(0.3)
    off = [at for at, level in trace.changes(RELAY) if level == 0 and at >= sent]
    is_back = until(is_up, 90, 1)
    outcome = [run for run in history() if run["ran_seconds"] > 0][-1]["outcome"]
    late = 1000 * (off[0] - sent - after_s) if off else 99_000.0
    is_right = late <= 1000.0 and is_back is not None and outcome == "interrupted"
    row(what, f"off after {1000 * after_s + late:.0f} ms (bare {bare:.0f} ms); {outcome}", is_right)


def send(number):
    return lambda: os.kill(int(main_pid()), number)


def systemctl_kill():
    shell("systemctl", "kill", "-s", "KILL", "--kill-who=main", UNIT)


def upgrade():
    """In the middle of a run: it is waited for, and the run is done, not cut."""
    if water(40) is None:
        row("upgrade in a run", "no run was granted", False)
        return
    before = main_pid()
    is_done, told = install(folder="wheels-next")
    version = shell("/usr/local/bin/waaler", "--version")
    last = [run for run in history() if run["ran_seconds"] > 0][-1]
    row("upgraded in a run", f"{told}; {version}; run {last['outcome']}", is_done and "0.99" in version)
    row("the run was not cut", f"{last['ran_seconds']:.0f} s", last["outcome"] == "done" and before != main_pid())
    is_done, told = install("--rollback", folder="wheels-next")
    version = shell("/usr/local/bin/waaler", "--version")
    row("taken back", f"{told}; {version}", is_done and "0.99" not in version and until(is_up, 60, 1) is not None)


def main():
    persist(True)
    chip = new_chip()
    Floats(chip)
    FILE.parent.mkdir(exist_ok=True)
    write_file()
    first_install()
    page()
    reload()
    footprint()
    dies(chip, "systemctl kill -s KILL in a run", systemctl_kill)
    dies(chip, "killed in a run", send(signal.SIGKILL))
    dies(chip, "hung (SIGSTOP) in a run", send(signal.SIGSTOP), WATCHDOG_S)
    upgrade()
    row("cases before the reboot", f"{len(failures)} wrong", not failures)
    sys.exit(1 if failures else 0)


main()
