"""A rehearsed season beside EPANET's extended-period run of the network alone, and how both grow.

python -m tests.bench.rehearse

Ours has media, crop, sensors and every decision of the core besides the flows; EPANET solves the same network over the
same time at a 60 s step, its pump on by a pattern for the plan's five cycles a day.
"""

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from tests.bed.engine import WATER_C, inp_of
from tests.bench.machine import machine
from tests.bench.table import Row
from wntr.epanet.toolkit import ENepanet

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout, Leg, Piece, Tube, watering
from waaler.bed.pump import from_label
from waaler.bed.sump import upright
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Scene
from waaler.settings import parse

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
"""


def bed(pots: int) -> Layout:
    """Legs of up to 20 outlets off a header, and a pump that suits them."""
    tube = Tube(0.004, 0.15, 0.05, 2.5)
    counts = [min(20, pots - begin) for begin in range(0, pots, 20)]
    legs = tuple(
        Leg((tube,) * count, (0.4,) * count, 0.016, 1.0, Piece(1.0, 0.025) if n else None)
        for n, count in enumerate(counts)
    )
    return Layout(from_label(pots * 95 / 3.6e6, 2.4), 0.3, Piece(1.5, 0.025, 1.5), legs, water_c=WATER_C)


def scene(pots: int, days: float) -> Scene:
    """Somebody fills the sump twelve hours after each alert."""
    layout = bed(pots)
    flow = watering(layout).flow_l_per_min / pots
    figures = Figures(
        pots=pots, outlet_l_per_min=flow, line_l=layout.pipes_l, sump_full_l=16.0 * pots, sump_low_l=4.0 * pots,
        sump_empty_l=2.0 * pots, drain_l_per_min=3.0 * pots, tray_high_l=5.0 * pots, tray_rim_l=8.0 * pots,
    )  # fmt: skip
    settings = parse(FILE, "bench.yaml")
    return Scene(
        settings.plan, settings.sensing, replace(settings.limits, longest_run_s=300.0), figures,
        datetime(2026, 1, 1, tzinfo=UTC), days, refill_after_s=12 * 3600.0, layout=layout,
        sump=upright(0.02 * pots, 1.0), probes=settings.wiring.probes,
    )  # fmt: skip


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
