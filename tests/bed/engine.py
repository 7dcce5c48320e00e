"""A layout told to EPANET 2.2, and what it says of the outlets: the second opinion on every network."""

import tempfile
from pathlib import Path

from wntr.epanet.toolkit import ENepanet

from waaler.bed.layout import Layout, pinch_k
from waaler.bed.layout import _line as line_of

__all__ = ["WATER_C", "Engine", "inp_of"]

WATER_C = 19.2
"""Here water has the engine's viscosity of 1.022e-6 m2/s."""

EN_FLOW = 8


def inp_of(layout: Layout) -> str:
    """The network file; LPS and millimetres, friction as the layout's law says."""
    law, tubes = layout.law, layout.tubes
    roughness = law.hazen_williams_c or 1000 * law.roughness_m
    pieces = list(line_of(layout))
    junctions = sorted({node for start, end, _ in pieces for node in (start, end)})
    curve = [(share * layout.pump.free_flow_m3_per_s) for share in (0.0, 0.5, 1.0)]
    lines = ["[JUNCTIONS]", *(f"{node} 0 0" for node in junctions), "[RESERVOIRS]", f"SUMP {-layout.lift_m}"]
    lines += [f"o{n} {tube.end_m}" for n, tube in enumerate(tubes)]
    lines += ["[PIPES]"]
    for n, (start, end, piece) in enumerate(pieces):
        size = f"{piece.length_m} {1000 * piece.bore_m} {roughness} {piece.fittings_k}"
        lines.append(f"l{n} {start} {end} {size} Open")
    for n, tube in enumerate(tubes):
        k = tube.fittings_k + pinch_k(tube.opening)
        # an open end sucks nothing: a check valve in the tube
        lines.append(f"t{n} n{n} o{n} {tube.length_m} {1000 * tube.bore_m} {roughness} {k} CV")
    lines += ["[PUMPS]", "PUMP SUMP p HEAD PC", "[CURVES]"]
    lines += [
        f"PC {1000 * flow:.9f} {layout.pump.head_m(flow) if flow else layout.pump.shut_off_head_m:.9f}"
        for flow in curve
    ]
    headloss = "H-W" if law.hazen_williams_c is not None else "D-W"
    lines += [
        "[OPTIONS]", "UNITS LPS", f"HEADLOSS {headloss}", "TRIALS 500", "ACCURACY 1e-05", "HEADERROR 1e-07",
        "FLOWCHANGE 1e-09", "UNBALANCED STOP", "[END]",
    ]  # fmt: skip
    return "\n".join(lines)


class Engine:
    """An open network; `solve` is the engine's bare work."""

    def __init__(self, layout: Layout) -> None:
        self._count = len(layout.tubes)
        self._folder = tempfile.TemporaryDirectory()
        path = Path(self._folder.name) / "net.inp"
        path.write_text(inp_of(layout))
        self._engine = ENepanet(version=2.2)
        self._engine.ENopen(str(path), str(path.with_suffix(".rpt")), str(path.with_suffix(".bin")))
        self._engine.ENopenH()

    def solve(self) -> None:
        self._engine.ENinitH(0)
        self._engine.ENrunH()

    def outlets_l_per_min(self) -> list[float]:
        self.solve()
        index = self._engine.ENgetlinkindex
        return [60 * self._engine.ENgetlinkvalue(index(f"t{n}"), EN_FLOW) for n in range(self._count)]

    def close(self) -> None:
        self._engine.ENcloseH()
        self._engine.ENclose()
        self._folder.cleanup()
