"""The steady flows of a bed: pump, line, and an open tube to every pot.

Any network of pipes: a single line, legs, rings. An outlet is a free jet at its own height, and an open end gives
water or nothing: it sucks none. Heads are elevation plus pressure head; the line's velocity head is left out.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from waaler.bed.elimination import Elimination
from waaler.bed.friction import Loss
from waaler.bed.pump import PumpCurve

__all__ = ["Flows", "Network", "NoFlow", "Pipe", "solve"]

ROUNDS = 200
CLOSE_ENOUGH = 1e-5
"""Change of the flows in the last round, as a share of all flow; the error after it is about its square."""

LEAST_SLOPE = 1e-3
"""Head by flow (m per m3/s) below which a pipe counts as this steep, so that no flow leaves it undefined."""


class NoFlow(ValueError):
    """The pump cannot lift the water to any outlet; says by how much."""


@dataclass(frozen=True, slots=True)
class Pipe:
    """Between two nodes. loss: the same both ways."""

    start: str
    end: str
    loss: Loss


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
        flows = _Open(network, dry).solved()
        sucking = {
            p.end
            for key, p in network.pipes.items()
            if p.end in network.outlets_m and flows.pipes_m3_per_s[key] < 0
        }
        if not sucking:
            return flows
        dry |= sucking


class _Open:
    """The pipes that carry water, flat in lists: one round linearises, solves for heads, and takes new flows.

    Nodes are numbered, the outlets behind the junctions; the pump is one more link, from the sump.
    """

    def __init__(self, network: Network, dry: frozenset[str]) -> None:
        self.network, self.dry = network, dry
        self.keys = [key for key, pipe in network.pipes.items() if pipe.end not in dry]
        pipes = [network.pipes[key] for key in self.keys]
        ends = {node for pipe in pipes for node in (pipe.start, pipe.end)} | {network.pump_node}
        self.junctions = sorted(ends - network.outlets_m.keys())
        outlets = sorted(ends & network.outlets_m.keys())
        number = {node: n for n, node in enumerate((*self.junctions, *outlets))}
        self.fixed_m = [network.outlets_m[node] for node in outlets]
        self.links = [(number[pipe.start], number[pipe.end], pipe.loss) for pipe in pipes]
        self.pump_node = number[network.pump_node]
        self.pump = network.pump.free_flow_m3_per_s / 2
        self.flows = self._guess(len(number), self.pump / max(1, len(outlets)))
        count = len(self.junctions)
        self.system = Elimination(count, [(a, b) for a, b, _ in self.links if a < count and b < count])

    def _guess(self, nodes: int, outlet_m3_per_s: float) -> list[float]:
        """The same from every outlet, along the shortest way from the pump; links that close a ring begin still."""
        count = len(self.junctions)
        touching: list[list[int]] = [[] for _ in range(nodes)]
        for n, (a, b, _) in enumerate(self.links):
            touching[a].append(n)
            touching[b].append(n)
        way: list[tuple[int, int, int]] = []  # link, nearer node, farther node
        reached, waiting = {self.pump_node}, [self.pump_node]
        for node in waiting:
            for n in touching[node]:
                other = self.links[n][0] + self.links[n][1] - node
                if other not in reached:
                    reached.add(other)
                    waiting.append(other)
                    way.append((n, node, other))
        wanted = [0.0] * count + [outlet_m3_per_s] * (nodes - count)
        flows = [0.0] * len(self.links)
        for n, near, far in reversed(way):
            flows[n] = wanted[far] if self.links[n][0] == near else -wanted[far]
            wanted[near] += wanted[far]
        return flows

    def solved(self) -> Flows:
        for _ in range(ROUNDS):
            heads = self._round()
            if heads is not None:
                flows = dict(zip(self.keys, self.flows, strict=True))
                pipes = {key: flows.get(key, 0.0) for key in self.network.pipes}
                heads_m = dict(zip(self.junctions, heads, strict=False))
                return Flows(self.pump, self.network.pump.head_m(self.pump), pipes, heads_m, self.dry)
        raise NoFlow("no steady state was found for this layout")

    def _round(self) -> list[float] | None:
        """One step of Newton's method; the heads once the flows stand still."""
        count, fixed_m = len(self.junctions), self.fixed_m
        diagonal, right, couplings = [0.0] * count, [0.0] * count, []
        bends: list[tuple[float, float]] = []  # of each link, one by its slope, and its flow at no head
        for (a, b, loss), flow in zip(self.links, self.flows, strict=True):
            if flow >= 0:
                lost_m, slope = loss(flow)
            else:
                lost_m, slope = loss(-flow)
                lost_m = -lost_m
            ease = 1 / slope if slope > LEAST_SLOPE else 1 / LEAST_SLOPE
            rest = flow - lost_m * ease
            bends.append((ease, rest))
            if a < count:
                diagonal[a] += ease
                if b < count:
                    right[a] -= rest
                    right[b] += rest
                    diagonal[b] += ease
                    couplings.append(ease)
                else:
                    right[a] += ease * fixed_m[b - count] - rest
            elif b < count:
                diagonal[b] += ease
                right[b] += ease * fixed_m[a - count] + rest
        ease, rest = self._pump_bend()
        diagonal[self.pump_node] += ease
        right[self.pump_node] += rest
        heads = [*self.system.solve(diagonal, couplings, right), *fixed_m]
        change = total = 0.0
        for n, ((a, b, _), (bend, idle)) in enumerate(zip(self.links, bends, strict=True)):
            flow = idle + (heads[a] - heads[b]) * bend
            change += abs(flow - self.flows[n])
            total += abs(flow)
            self.flows[n] = flow
        self.pump = max(0.0, rest - ease * heads[self.pump_node])
        return heads if change <= CLOSE_ENOUGH * max(total, 1e-12) else None

    def _pump_bend(self) -> tuple[float, float]:
        """One by the pump curve's fall, and what it would give at no head, linearised at its present flow."""
        flow, curve = max(self.pump, 1e-12), self.network.pump
        ease = 1 / max(curve.b * curve.c * flow ** (curve.c - 1), LEAST_SLOPE)
        return ease, self.pump + ease * (curve.head_m(flow) + self.network.sump_m)
