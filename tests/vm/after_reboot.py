"""The machine has booted again: the unit is there by itself; then everything but file and records is removed."""

import os
import sys
import time

from bed import FILE, RELAY, UNIT, Floats, history, new_chip, shell, status, until, water
from gpiosim import Trace, persist

persist(True)
runs_before = len(history())
chip = new_chip()
Floats(chip)
with Trace(chip) as trace:
    seconds = until(lambda: status().get("bed") == "terrace", 120, 1)
    time.sleep(2)
levels = [level for _, level in trace.changes(RELAY)]
print(f"{'ok   ' if seconds else 'WRONG'} after the reboot the bed answers by itself; the relay's levels: {levels}")
granted = water(5)
print(f"{'ok   ' if granted is not None else 'WRONG'} a run by hand is granted after {granted or 0:.0f} s")
time.sleep(8)
print(shell("sh", "/host/systemd/install", "--uninstall", timeout=300))
left = [path for path in ("/opt/waaler", "/etc/systemd/system/waaler@.service") if os.path.lexists(path)]
kept = [str(FILE), "/var/lib/waaler/terrace/terrace.db"]
is_right = not left and all(map(os.path.exists, kept)) and not chip.level(RELAY)
print(f"{'ok   ' if is_right else 'WRONG'} uninstalled: left {left}, kept {kept}, relay {chip.level(RELAY)}")
print(f"      runs in the history before: {runs_before}; unit: {shell('systemctl', 'is-active', UNIT)}")
sys.exit(0 if seconds and granted is not None and 1 not in levels and is_right else 1)
