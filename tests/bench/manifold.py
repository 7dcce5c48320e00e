"""A bed's flows beside EPANET's: the whole call through wntr, and the engine's bare solve of an open network.

python -m tests.bench.manifold
"""

import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import wntr
from tests.bed.engine import WATER_C, Engine, inp_of
from tests.bench.machine import machine
from tests.bench.table import Row, lines

from waaler.bed.layout import Layout, Leg, Piece, Tube, watering
from waaler.bed.pump import from_label

ROUNDS = 15


def bed(outlets: int) -> Layout:
    """Legs of up to 25 outlets off a header, a pump that suits them."""
    tube = Tube(0.004, 0.15, 0.05, 2.5)
    legs: list[Leg] = []
    left = outlets
    while left > 0:
        count = min(left, 25)
        header = Piece(1.0, 0.025) if legs else None
        legs.append(Leg((tube,) * count, (0.4,) * count, 0.016, 1.0, header))
        left -= count
    pump = from_label(outlets * 95 / 3.6e6, 2.4)
    return Layout(pump, 0.3, Piece(1.5, 0.025, 1.5), tuple(legs), water_c=WATER_C)


def seconds(deed: Callable[[], object], rounds: int = ROUNDS) -> float:
    """The median of some rounds."""
    found = []
    for _ in range(rounds):
        began = time.perf_counter()
        deed()
        found.append(time.perf_counter() - began)
    return median(found)


def whole_call(layout: Layout, folder: Path) -> Callable[[], object]:
    path = folder / "bed.inp"
    path.write_text(inp_of(layout))

    def call() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = wntr.network.WaterNetworkModel(str(path))
            return wntr.sim.EpanetSimulator(model).run_sim(file_prefix=str(folder / "run"))

    return call


@dataclass(frozen=True, slots=True)
class Found:
    """Milliseconds of ours, of the engine's bare solve, of the whole call through wntr; flows apart, a share."""

    ours_ms: float
    bare_ms: float
    whole_ms: float
    apart: float


def measure(outlets: int) -> Found:
    layout = bed(outlets)
    engine = Engine(layout)
    expected = engine.outlets_l_per_min()
    ours = watering(layout).outlets_l_per_min
    apart = max(abs(a / b - 1) for a, b in zip(ours, expected, strict=True))
    with tempfile.TemporaryDirectory() as folder:
        our_s, whole_s = seconds(lambda: watering(layout)), seconds(whole_call(layout, Path(folder)), 5)
    bare_s = seconds(engine.solve)
    engine.close()
    return Found(1000 * our_s, 1000 * bare_s, 1000 * whole_s, apart)


def rows(is_quick: bool) -> Iterator[Row]:
    for outlets, goal in ((16, 15), (200, 10)):
        found = measure(outlets)
        faster = found.whole_ms / found.ours_ms
        yield Row(
            f"flows of {outlets} outlets, whole call", f"{found.ours_ms:.1f} ms", f"{found.whole_ms:.0f} ms",
            f"{faster:.0f} x", f">= {goal} x", faster >= goal,
        )  # fmt: skip
        behind = found.ours_ms / found.bare_ms
        yield Row(
            "  EPANET's bare solve", f"{found.ours_ms:.1f} ms", f"{found.bare_ms:.2f} ms", f"{behind:.2f} x", "3 x",
            behind <= 3,
        )  # fmt: skip
        yield Row("  flows apart", f"{100 * found.apart:.3f} %", goal="0.5 %", is_met=found.apart <= 0.005)


if __name__ == "__main__":
    print(machine())
    print("\n".join(lines(rows("--quick" in sys.argv[1:]))))
