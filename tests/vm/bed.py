"""The bed under test: its file, its lines, and what people would do to it."""

import json
import subprocess
import threading
import time
from pathlib import Path

from gpiosim import Chip

RELAY, SUMP, TRAY = 17, 27, 22
UNIT = "waaler@terrace"
FILE = Path("/etc/waaler/terrace.yaml")
TEXT = """\
bed: terrace
place: {timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}
clock: trusted
not_commissioned: accepted
plan:
  - window: early
    at: ["03:03"]
    water: 2 min
limits: {start_delay: 5 s, rest: 10 s, settle_sump: 1 min, settle_tray: 1 min, run_back: 1 min, most_starts: 20}
pins:
  relay: {gpio: 17, energised_by: HIGH}
  sump_low: {gpio: 27}
  tray_high: {gpio: 22}
"""
ASK = Path("/run/waaler/terrace")


def shell(*words, timeout=60):
    done = subprocess.run(words, capture_output=True, text=True, timeout=timeout)
    return (done.stdout + done.stderr).strip()


def waaler(*words):
    return shell("/opt/waaler/current/bin/waaler", *words, str(FILE))


def write_file(polarity="high"):
    FILE.write_text(TEXT.replace("HIGH", polarity))


class Floats(threading.Thread):
    """Holds both floats where they are wanted, closed (to ground) at first.

    A real switch beats the Pi's weak pull; in the simulated chip the last word wins, so it is said again and again.
    """

    def __init__(self, chip):
        super().__init__(daemon=True)
        self.chip, self.levels = chip, {SUMP: 0, TRAY: 0}
        self.start()

    def run(self):
        while True:
            for line, level in self.levels.items():
                self.chip.drive(line, level)
            time.sleep(0.02)


def until(condition, seconds, step_s=0.02):
    """Seconds until it held, or None."""
    start = time.monotonic()
    while time.monotonic() - start < seconds:
        if condition():
            return time.monotonic() - start
        time.sleep(step_s)
    return None


def start():
    shell("systemctl", "reset-failed", UNIT)
    print("#", shell("systemctl", "start", UNIT, timeout=90))


def status():
    try:
        return json.loads(waaler("status", "--json"))
    except ValueError:
        return {}


def water(seconds=120):
    """A run by hand, once start delay and rest allow it."""
    return until(lambda: waaler("water", f"{seconds}s").startswith("running"), 90, 0.5)


def history():
    return json.loads(waaler("history", "--json"))["runs"]


def main_pid():
    return shell("systemctl", "show", "-P", "MainPID", UNIT)


def keeper_pid():
    return shell("pgrep", "-P", main_pid())


def new_chip():
    return Chip(names={"RELAY": RELAY, "SUMP": SUMP, "TRAY": TRAY})
