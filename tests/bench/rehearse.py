"""A rehearsed season beside EPANET's extended-period run of the network alone, and how both grow.

python -m tests.bench.rehearse

Ours has media, crop, sensors and every decision of the core besides the flows; EPANET solves the same network over the
same time at a 60 s step, its pump on by a pattern for the plan's five cycles a day.
"""

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from tests.bed.engine import inp_of
from tests.bench.machine import machine
from tests.bench.table import Row
from wntr.epanet.toolkit import ENepanet

from waaler.bed.layout import Layout
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Scene
from waaler.rehearsal.staging import scene_of
from waaler.settings import parse
from waaler.settings.settings import Settings

CYCLES = 5
MINUTES = 3
FILE = """
bed: bench
place: {timezone: UTC, latitude: 46, longitude: 14}
plan:
  - {window: day, cycles: 5, between: ["07:00", "19:00"], water: 3 min}
sensing:
  probes:
    - {name: pot_3, channel: 0, calibration: {dry: 820, wet: 380}}
    - {name: pot_18, channel: 1, calibration: {dry: 830, wet: 370}}
layout:
  pump: {free_flow: %(flow)g L/h, shut_off: 2.4 m}
  lift: 30 cm
  hose: {length: 1.5 m, bore: 25 mm, fittings: 1.5}
  line: {bore: 16 mm, spacing: 40 cm, legs: [%(legs)s], water: 19.2 C}
  tray: {length: %(tray)g m, width: 1.2 m, drain: 80 mm, standing: 1 cm, rim: 10 cm}
  sump: {floor: [%(pots)g m, 2 cm], full: 80 cm, low: 25 cm, empty: 10 cm}
pots: [{count: %(pots)d, crop: beans}]
crops: [{name: beans, planted: 2026-01-01, canopy: 0.3 m2, stages: [20, 30, 400, 10], kc: [1.05, 0.9]}]
shelter: film
weather:
  normals: [[4 C, -3 C], [7 C, -2 C], [12 C, 2 C], [16 C, 6 C], [21 C, 10 C], [25 C, 14 C],
            [27 C, 16 C], [27 C, 15 C], [22 C, 11 C], [16 C, 7 C], [9 C, 2 C], [4 C, -1 C]]
"""


def settings_of(pots: int) -> Settings:
    """Legs of up to 20 outlets off a header, and a pump and a sump that suit them."""
    counts = [min(20, pots - begin) for begin in range(0, pots, 20)]
    header = ", header: {length: 1 m, bore: 25 mm, fittings: 0}"
    legs = ", ".join(f"{{outlets: {count}, fittings: 1{header if n else ''}}}" for n, count in enumerate(counts))
    return parse(FILE % {"pots": pots, "flow": 95 * pots, "legs": legs, "tray": 0.25 * pots}, "bench.yaml")


def bed(pots: int) -> Layout:
    layout = settings_of(pots).layout
    assert layout is not None
    return layout


def scene(pots: int, days: float) -> Scene:
    """Somebody fills the sump twelve hours after each alert."""
    return scene_of(settings_of(pots), datetime(2026, 1, 1, tzinfo=UTC), days, refill_after_s=12 * 3600.0)


def ours(pots: int, days: float) -> Callable[[], object]:
    played = scene(pots, days)
    return lambda: Play(played).run()


def engines(pots: int, days: float, folder: Path) -> Callable[[], None]:
    """The network's extended-period run, told to the engine beforehand."""
    path = folder / f"bed{pots}.inp"
    path.write_text(_extended(inp_of(bed(pots)), days))

    def run() -> None:
        engine = ENepanet(version=2.2)
        engine.ENopen(str(path), str(path.with_suffix(".rpt")), "")
        engine.ENopenH()
        engine.ENinitH(0)
        while True:
            engine.ENrunH()
            if engine.ENnextH() <= 0:
                break
        engine.ENcloseH()
        engine.ENclose()

    return run


def _extended(inp: str, days: float) -> str:
    gap = 720 // (CYCLES - 1)
    on = {420 + n * gap + minute for n in range(CYCLES) for minute in range(MINUTES)}
    speeds = [1 if minute in on else 0 for minute in range(1440)]
    pattern = [f"DAY {' '.join(map(str, speeds[n : n + 30]))}" for n in range(0, 1440, 30)]
    times = [
        "[TIMES]", f"DURATION {24 * days:g}", "HYDRAULIC TIMESTEP 0:01", "PATTERN TIMESTEP 0:01",
        "REPORT TIMESTEP 24:00",
    ]  # fmt: skip
    text = inp.replace("PUMP SUMP p HEAD PC", "PUMP SUMP p HEAD PC PATTERN DAY").replace("[END]", "")
    return "\n".join([text, "[PATTERNS]", *pattern, *times, "[END]"])


def seconds(deed: Callable[[], object]) -> float:
    """Of the processor, so that other work on the machine counts little."""
    began = time.process_time()
    deed()
    return time.process_time() - began


def rows(is_quick: bool) -> Iterator[Row]:
    days = 30.0 if is_quick else 365.0
    with tempfile.TemporaryDirectory() as folder:
        our_s, engine_s = seconds(ours(20, days)), seconds(engines(20, days, Path(folder)))
    faster = engine_s / our_s
    yield Row(
        f"rehearsed {days:g} days, 20 pots", f"{our_s:.2f} s", f"{engine_s:.2f} s", f"{faster:.2f} x", ">= 2 x",
        faster >= 2,
    )  # fmt: skip
    eighth_s = seconds(ours(20, days / 8))
    yield Row("  8 times as long", f"{our_s:.2f} s", f"{eighth_s:.2f} s", f"{our_s / eighth_s:.1f} x", "linear")


def main(days: float = 365.0) -> None:
    print(f"a rehearsed bed of 20 pots, 5 cycles and {days:g} days; {machine()}")
    with tempfile.TemporaryDirectory() as folder:
        our_s, engine_s = seconds(ours(20, days)), seconds(engines(20, days, Path(folder)))
    print(f"  ours {our_s:.2f} s, EPANET on the network alone {engine_s:.2f} s:", end=" ")
    print(f"{engine_s / our_s:.2f} x as fast (goal 2 x)")
    base_s = seconds(ours(20, days / 8))
    grown = [seconds(ours(20, days * n / 8)) / base_s for n in (2, 4, 8)]
    print("  1, 2, 4, 8 x the days take 1, " + ", ".join(f"{n:.1f}" for n in grown) + " x as long")
    base_s = seconds(ours(20, days / 8))
    grown = [seconds(ours(20 * n, days / 8)) / base_s for n in (2, 4, 8)]
    print("  1, 2, 4, 8 x the pots take 1, " + ", ".join(f"{n:.1f}" for n in grown) + " x as long")


if __name__ == "__main__":
    main(*map(float, sys.argv[1:2]))
