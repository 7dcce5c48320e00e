"""The boot after a power cut in the middle of a run."""

import sys
import time

from bed import RELAY, UNIT, Floats, history, new_chip, shell, start, status, water
from gpiosim import Trace, persist

persist(True)
chip = new_chip()
Floats(chip)
print(f"after the boot the relay's line is {chip.level(RELAY)}")
with Trace(chip) as trace:
    start()
    time.sleep(3)
levels = [level for _, level in trace.changes(RELAY)]
last = [run for run in history() if run["ran_seconds"] > 0][-1]
found = status()
is_right = last["outcome"] == "interrupted" and 1 not in levels and found["pump_seconds_24h"] >= 120
print(f"the run is {last['outcome']}: {last['ended_because']}")
print(f"pump time of the last 24 h: {found['pump_seconds_24h']} s; levels at the start: {levels}")
granted = water(5)
print(f"the next run by hand is {'granted' if granted is not None else 'REFUSED'}")
shell("systemctl", "stop", UNIT)
sys.exit(0 if is_right and granted is not None else 1)
