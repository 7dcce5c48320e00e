"""The steady flows of a bed: pump, line, and an open tube to every pot.

Any network of pipes: a single line, legs, rings. An outlet is a free jet at its own height, and an open end gives
water or nothing: it sucks none. Heads are elevation plus pressure head; the line's velocity head is left out.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from waaler.bed.pump import PumpCurve

__all__ = ["Flows", "Network", "NoFlow", "Pipe", "solve"]

ROUNDS = 200
CLOSE_ENOUGH = 1e-9
LEAST_SLOPE = 1e-3
"""Head by flow (m per m3/s) below which a pipe counts as this steep, so that no flow leaves it undefined."""


class NoFlow(ValueError):
    """The pump cannot lift the water to any outlet; says by how much."""


@dataclass(frozen=True, slots=True)
class Pipe:
    """Between two nodes. loss_m: head lost, metres, at a flow >= 0 (m3/s), the same both ways."""

    start: str
    end: str
    loss_m: Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Network:
    """pump_node: where the pump gives. sump_m: level of the water it takes. outlets_m: height of each open end.

    Heights in metres above one datum. Every other node of the pipes is a junction.
    """

    pump: PumpCurve
    pump_node: str
    sump_m: float
    outlets_m: Mapping[str, float]
    pipes: Mapping[str, Pipe]


@dataclass(frozen=True, slots=True)
class Flows:
    """pump_m3_per_s, pump_head_m: the working point. pipes_m3_per_s: along start to end. heads_m: of junctions.

    dry: outlets that give nothing.
    """

    pump_m3_per_s: float
    pump_head_m: float
    pipes_m3_per_s: dict[str, float]
    heads_m: dict[str, float]
    dry: frozenset[str]

    def outlet(self, network: Network, name: str) -> float:
        """What an outlet gives, m3/s."""
        return sum(self.pipes_m3_per_s[key] for key, pipe in network.pipes.items() if pipe.end == name)


def solve(network: Network) -> Flows:
    """The steady state. Raises NoFlow where the pump's shut-off head does not reach the lowest outlet.

    Source: the global gradient method of Todini and Pilati (1988).
    """
    lowest_m = min(network.outlets_m.values())
    if not network.pump.shut_off_head_m > lowest_m - network.sump_m:
        lift = lowest_m - network.sump_m
        raise NoFlow(f"lift {lift:.2g} m is above the pump's shut-off head {network.pump.shut_off_head_m:.2g} m")
    dry: frozenset[str] = frozenset()
    while True:
        flows = _solve_open(network, dry)
        sucking = {
            p.end
            for key, p in network.pipes.items()
            if p.end in network.outlets_m and flows.pipes_m3_per_s[key] < 0
        }
        if not sucking:
            return flows
        dry |= sucking


class _Links:
    """Pipes that carry water, with their flows; the pump is one more, from the sump."""

    def __init__(self, network: Network, dry: frozenset[str]) -> None:
        self.network = network
        self.keys = [key for key, pipe in network.pipes.items() if pipe.end not in dry]
        guess = network.pump.free_flow_m3_per_s / 2
        self.flows = {key: guess / max(1, len(network.outlets_m)) for key in self.keys}
        self.pump = guess

    def curve(self, key: str) -> tuple[float, float]:
        """Head lost along the pipe at its present flow, and its slope."""
        flow, loss_m = self.flows[key], self.network.pipes[key].loss_m
        size = abs(flow)
        step = max(1e-6 * size, 1e-12)
        slope = (loss_m(size + step) - loss_m(max(0.0, size - step))) / (size + step - max(0.0, size - step))
        return (loss_m(size) if flow >= 0 else -loss_m(size)), max(slope, LEAST_SLOPE)

    def pump_curve(self) -> tuple[float, float]:
        """Head given by the pump at its present flow, and how it falls."""
        flow, curve = max(self.pump, 1e-12), self.network.pump
        return curve.head_m(flow), max(curve.b * curve.c * flow ** (curve.c - 1), LEAST_SLOPE)


def _solve_open(network: Network, dry: frozenset[str]) -> Flows:
    links = _Links(network, dry)
    heads: dict[str, float] = {}
    for _ in range(ROUNDS):
        heads = _heads(links)
        change = _new_flows(links, heads)
        if change < CLOSE_ENOUGH:
            break
    else:
        raise NoFlow("no steady state was found for this layout")
    pipes = {key: links.flows.get(key, 0.0) for key in network.pipes}
    return Flows(links.pump, network.pump.head_m(links.pump), pipes, heads, dry)


def _heads(links: _Links) -> dict[str, float]:
    """Heads of the junctions for the flows as they are, linearised."""
    matrix: dict[str, dict[str, float]] = {}
    right: dict[str, float] = {}
    fixed = links.network.outlets_m

    def touch(node: str) -> None:
        matrix.setdefault(node, {}).setdefault(node, 0.0)
        right.setdefault(node, 0.0)

    for key in links.keys:
        pipe, (loss_m, slope) = links.network.pipes[key], links.curve(key)
        carried = links.flows[key] - loss_m / slope
        for node, other, sign in ((pipe.start, pipe.end, 1.0), (pipe.end, pipe.start, -1.0)):
            if node in fixed:
                continue
            touch(node)
            matrix[node][node] += 1 / slope
            right[node] -= sign * carried
            if other in fixed:
                right[node] += fixed[other] / slope
            else:
                matrix[node][other] = matrix[node].get(other, 0.0) - 1 / slope
    head_m, slope = links.pump_curve()
    node = links.network.pump_node
    touch(node)
    matrix[node][node] += 1 / slope
    right[node] += links.pump + (head_m + links.network.sump_m) / slope
    return _eliminate(matrix, right)


def _new_flows(links: _Links, heads: dict[str, float]) -> float:
    """Takes the flows that go with the heads; the change as a share of all flow."""
    heads = {**links.network.outlets_m, **heads}
    change = total = 0.0
    for key in links.keys:
        pipe, (loss_m, slope) = links.network.pipes[key], links.curve(key)
        flow = links.flows[key] + (heads[pipe.start] - heads[pipe.end] - loss_m) / slope
        change, total = change + abs(flow - links.flows[key]), total + abs(flow)
        links.flows[key] = flow
    head_m, slope = links.pump_curve()
    links.pump = max(0.0, links.pump + (head_m + links.network.sump_m - heads[links.network.pump_node]) / slope)
    return change / max(total, 1e-12)


def _eliminate(matrix: dict[str, dict[str, float]], right: dict[str, float]) -> dict[str, float]:
    """Solves a sparse symmetric system, the least connected node first: linear in the nodes of a tree."""
    waiting = [(len(row), node) for node, row in matrix.items()]
    heapify(waiting)
    order: list[tuple[str, dict[str, float]]] = []
    done: set[str] = set()
    while waiting:
        size, node = heappop(waiting)
        if node in done or size != len(matrix[node]):
            continue
        done.add(node)
        row = matrix[node]
        order.append((node, row))
        pivot = row[node]
        others = [(other, value) for other, value in row.items() if other != node]
        for other, value in others:
            target, factor = matrix[other], value / pivot
            del target[node]
            right[other] -= factor * right[node]
            for third, third_value in others:
                target[third] = target.get(third, 0.0) - factor * third_value
            heappush(waiting, (len(target), other))
    heads: dict[str, float] = {}
    for node, row in reversed(order):
        rest = sum(value * heads[other] for other, value in row.items() if other != node)
        heads[node] = (right[node] - rest) / row[node]
    return heads
