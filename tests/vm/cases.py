"""Every case on real lines, one row each: what was done, what the relay did, what the history says."""

import subprocess
import sys
import time

from bed import (
    ASK,
    RELAY,
    SUMP,
    UNIT,
    Floats,
    history,
    keeper_pid,
    main_pid,
    new_chip,
    shell,
    start,
    until,
    waaler,
    water,
    write_file,
)  # fmt: skip
from gpiosim import Trace, persist

WATCHDOG_S = 10
failures = []


def row(what, found, is_right):
    print(f"{'ok   ' if is_right else 'WRONG'} {what:44} {found}", flush=True)
    if not is_right:
        failures.append(what)


def off_after(chip, deed, limit_s):
    """Seconds from the deed until the relay's line is off for good; None if it stays on."""
    began = time.monotonic()
    deed()
    until(lambda: not chip.level(RELAY), limit_s)
    return None if chip.level(RELAY) else time.monotonic() - began


def last_outcome():
    watered = [run for run in history() if run["ran_seconds"] > 0]
    return f"{watered[-1]['outcome']}: {watered[-1]['ended_because']}" if watered else "no run in the history"


def blips(chip, polarity):
    """The levels that the relay's line took while the unit started and stopped."""
    write_file(polarity)
    chip.drive(RELAY, 0 if polarity == "high" else 1)
    energised = 1 if polarity == "high" else 0
    with Trace(chip) as trace:
        start()
        time.sleep(2)
        shell("systemctl", "stop", UNIT)
        time.sleep(0.5)
    levels = [level for _, level in trace.changes(RELAY)]
    row(f"start and stop, energised by {polarity}", f"levels {levels}", energised not in levels)


def dies(chip, what, deed, limit_s, expect):
    """In the middle of a run: the deed, the relay off in time, the unit back, the history true."""
    if not chip.level(RELAY) and water() is None:
        row(what, "no run was granted", False)
        return
    seconds = off_after(chip, deed, limit_s)
    is_back = until(lambda: "ActiveState=active" in shell("systemctl", "show", "-p", "ActiveState", UNIT), 60, 0.3)
    until(
        lambda: shell("/opt/waaler/current/bin/waaler", "status", "/etc/waaler/terrace.yaml").startswith("terrace"),
        60,
        0.5,
    )
    told = last_outcome()
    found = "still on" if seconds is None else f"off after {1000 * seconds:.0f} ms"
    row(what, f"{found}; {told}", seconds is not None and is_back is not None and expect in told)


def goes_on(chip, what, deed, seconds=20):
    """The keeper fails in a run: the relay stays on to its deadline, and another keeper writes the end down."""
    if water(seconds) is None:
        row(what, "no run was granted", False)
        return
    began, keeper = time.monotonic(), keeper_pid()
    with Trace(chip) as trace:
        deed()
        until(lambda: not chip.level(RELAY), seconds + 10)
        lasted = time.monotonic() - began
    is_again = until(lambda: keeper_pid() not in ("", keeper), 90, 0.3)
    told = until(lambda: "done" in last_outcome(), 90, 1.0)
    levels = [level for _, level in trace.changes(RELAY)]
    found = f"off {lasted:.1f} s after the grant of {seconds}; line {levels}; {last_outcome()}"
    is_right = levels == [0] and seconds - 3 < lasted < seconds + 1 and is_again is not None and told is not None
    row(what, found, is_right)


def kill(signal, pids=lambda: [main_pid()]):
    return lambda: subprocess.run(["kill", f"-{signal}", *pids()])


def ask(what):
    def deed():
        (ASK / f"test-{what}").touch()
        shell("chown", "waaler", str(ASK / f"test-{what}"))

    return deed


def stop_beside_a_still_keeper():
    pid = keeper_pid()
    subprocess.run(["kill", "-STOP", pid])
    waaler("stop")
    subprocess.run(["kill", "-CONT", pid])


def lowers(chip, floats):
    """The sump's float falls in a run: the relay is off soon after `confirm`."""
    if water() is None:
        row("sump float falls in a run", "no run was granted", False)
        return
    seconds = off_after(chip, lambda: floats.levels.update({SUMP: 1}), 5)
    floats.levels[SUMP] = 0
    row(
        "sump float falls in a run",
        f"off after {1000 * (seconds or 99):.0f} ms, {last_outcome()}",
        (seconds or 99) < 0.8,
    )


def main():
    persist(True)  # the hard case: a released output keeps its level, as on Raspberry Pi OS kernels
    chip = new_chip()
    floats = Floats(chip)
    blips(chip, "high")
    blips(chip, "low")
    write_file()
    chip.drive(RELAY, 0)
    start()
    dies(chip, "kill -9 of the guard in a run", kill("KILL"), 5, "interrupted")
    dies(chip, "kill -9 of both", kill("KILL", lambda: [main_pid(), keeper_pid()]), 5, "interrupted")
    dies(chip, "SIGSTOP of the guard", kill("STOP"), WATCHDOG_S + 4, "interrupted")
    dies(chip, "SIGSTOP of both", kill("STOP", lambda: [main_pid(), keeper_pid()]), WATCHDOG_S + 4, "interrupted")
    dies(chip, "the guard hangs", ask("hang-guard"), WATCHDOG_S + 4, "interrupted")
    dies(chip, "the guard raises", ask("raise-guard"), 6, "interrupted")
    dies(chip, "waaler stop while the keeper stands still", stop_beside_a_still_keeper, 5, "stopped")
    goes_on(chip, "kill -9 of the keeper in a run", kill("KILL", lambda: [keeper_pid()]))
    goes_on(chip, "SIGSTOP of the keeper", kill("STOP", lambda: [keeper_pid()]), 40)
    goes_on(chip, "the keeper hangs", ask("hang-keeper"), 40)
    goes_on(chip, "the keeper raises", ask("raise-keeper"))
    lowers(chip, floats)
    row("cases before the power cut", f"{len(failures)} wrong", not failures)
    time.sleep(65)
    if failures or water() is None:
        sys.exit(1)
    time.sleep(2)
    print("the power is cut in the middle of a run", flush=True)
    shell("sync")
    subprocess.run(["power-cut"])


main()
