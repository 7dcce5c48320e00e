"""In the guest: the commissioning's dry half, probes on real SPI and I2C, and the arming, on real lines."""

import json
import subprocess
import time
from pathlib import Path

from bed import RELAY, SUMP, TRAY, Floats, new_chip, until

from waaler.commission import dry
from waaler.commission.by_socket import SocketSite
from waaler.commission.parts import Hand
from waaler.commission.walking import Walk
from waaler.notify.asking import ask

WET = 23
FILE = Path.home() / "terrace.yaml"
SOCKET = Path("/run/user-waaler/waaler/terrace/terrace.sock")
COUNTS = Path("/sys/module/mcp3008_sim/parameters/counts")
TEXT = """\
bed: terrace
place: {timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}
clock: trusted
plan:
  - window: early
    at: ["03:03"]
    water: 2 min
limits: {start_delay: 5 s, rest: 10 s, settle_sump: 1 min, settle_tray: 1 min, run_back: 1 min, most_starts: 20}
sensing:
  probes: [{name: on_spi, channel: 0}, {name: on_i2c, channel: 0, converter: i2c}]
pins:
  relay: {gpio: 17}
  sump_low: {gpio: 27}
  tray_high: {gpio: 22}
  tray_wet: {gpio: 23}
"""
I2C_HIGH = 0x4E
"""In the stub a chip is plain bytes: the conversion's low one is the configuration's high one."""

I2C_COUNTS = I2C_HIGH << 8 | 0xC3


class Hands:
    """Does what the walk asks for to the chip's lines. swapped: each float's wire sits on the other's pin."""

    def __init__(self, floats, swapped):
        self.floats, self.told = floats, []
        self.line = {"sump_low": TRAY if swapped else SUMP, "tray_high": SUMP if swapped else TRAY}

    def tell(self, text):
        self.told.append(text)

    def do(self, task):
        hand, levels = task.hand, self.floats.levels
        if hand in (Hand.LOWER, Hand.LIFT):
            is_closed = (hand is Hand.LIFT) is (task.name == "sump_low")
            levels[self.line[task.name]] = int(not is_closed)
        elif hand in (Hand.LET_GO, Hand.WIRE_ON):
            levels[self.line[task.name]] = 0
        elif hand is Hand.WIRE_OFF:
            levels[self.line[task.name]] = 1
        elif hand in (Hand.WET_TRAY, Hand.DRY_TRAY):
            levels[WET] = int(hand is Hand.DRY_TRAY)
        elif hand is Hand.PROBE_IN_AIR:
            COUNTS.write_text("820,0,0,0,0,0,0,0")
        elif hand is Hand.PROBE_IN_WATER:
            COUNTS.write_text("380,0,0,0,0,0,0,0")

    def sees(self, question, words):
        return True

    def stands_by(self):
        return True


def walk(floats, swapped):
    site = SocketSite(lambda order: ask(SOCKET, order, 6.0))
    hands = Hands(floats, swapped)
    return Walk(site, hands, 120.0, 60.0, 200.0, 3.0, probes={"on_spi": 1023.0})


def row(name, is_right, text):
    print(f"{'ok  ' if is_right else 'FAIL'} {name}: {text}", flush=True)


def main():
    FILE.write_text(TEXT)
    chip = new_chip()
    floats = Floats(chip)
    floats.levels = {**floats.levels, WET: 1}  # replaced, since its thread goes through it
    with open("/host/out/daemon.log", "w") as log:
        daemon = subprocess.Popen(["/opt/w/bin/waaler", "run", str(FILE)], stderr=log)
    until(SOCKET.exists, 60, 0.2)
    status = lambda: ask(SOCKET, {"do": "status"}, 6.0)  # noqa: E731
    until(lambda: status()["to_be_seen"] == ["sump_low bad", "tray_high bad"], 30, 0.5)
    row("a new bed", len(status()["to_be_seen"]) == 2, f"to see {status()['to_be_seen']}")
    counts = {name: ask(SOCKET, {"do": "counts", "name": name}, 6.0) for name in ("on_spi", "on_i2c")}
    row("SPI", abs(counts["on_spi"].get("counts", 0) - 512) <= 1, json.dumps(counts["on_spi"]))
    row("I2C", counts["on_i2c"].get("counts") == I2C_COUNTS, json.dumps(counts["on_i2c"]))
    for swapped in (True, False):
        found = list(dry.floats(walk(floats, swapped)))
        is_right = (
            all(f.text.startswith("SWAPPED") for f in found)
            if swapped
            else {f.verdict for f in found} == {"passed"}
        )
        for finding in found:
            row(f"{'swapped' if swapped else 'right'}, {finding.step}", is_right, finding.text)
    row("armed", status()["to_be_seen"] == [], json.dumps([alert["kind"] for alert in status()["alerts"]]))
    right = walk(floats, False)
    for step in (dry.contact, dry.probes):
        for finding in step(right):
            row(finding.step, finding.verdict == "passed", finding.text)
    right.site.order("attend", 600.0)
    levels = []
    right.person.tell = lambda text: levels.append(chip.level(RELAY))
    began = time.monotonic()
    (finding,) = dry.relays(right)
    row(
        "relay",
        finding.verdict == "passed" and chip.level(RELAY) == 0,
        f"{finding.text}, {time.monotonic() - began:.0f} s",
    )
    right.site.order("resume")
    daemon.terminate()
    row("end", daemon.wait(timeout=20) == 0 and chip.level(RELAY) == 0, "clean, relay off")


main()
