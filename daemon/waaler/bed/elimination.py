"""Symmetric systems with few couplings, such as the heads in a tree of pipes: planned once, solved often."""

from collections.abc import Sequence

__all__ = ["Elimination"]


class Elimination:
    """Gauss without pivoting, the least coupled unknown first: linear in the size of a tree, and rings cost little.

    couplings: pairs of unknowns, each pair once for every value that `solve` is given; two of a pair add up.
    """

    def __init__(self, count: int, couplings: Sequence[tuple[int, int]]) -> None:
        slots: dict[tuple[int, int], int] = {}
        neighbours: list[set[int]] = [set() for _ in range(count)]

        def slot(a: int, b: int) -> int:
            pair = (a, b) if a < b else (b, a)
            neighbours[a].add(b)
            neighbours[b].add(a)
            return slots.setdefault(pair, len(slots))

        self._given = [slot(a, b) for a, b in couplings]
        self._steps: list[tuple[int, list[tuple[int, int]], list[tuple[int, int, int]]]] = []
        left = set(range(count))
        waiting = sorted(left, key=lambda n: len(neighbours[n]))
        while left:
            node = self._least(waiting, left, neighbours)
            left.discard(node)
            others = list(neighbours[node])
            own = [(other, slot(node, other)) for other in others]
            fills = [
                (slot(one, two), slot(node, one), slot(node, two))
                for n, one in enumerate(others)
                for two in others[n + 1 :]
            ]
            for other in others:
                neighbours[other].discard(node)
                if len(neighbours[other]) <= 1:
                    waiting.append(other)
            self._steps.append((node, own, fills))
        self._slots = len(slots)

    @staticmethod
    def _least(waiting: list[int], left: set[int], neighbours: list[set[int]]) -> int:
        """Leaves as they come; else the unknown with the fewest couplings."""
        while waiting:
            node = waiting.pop()
            if node in left and len(neighbours[node]) <= 1:
                return node
        return min(left, key=lambda n: len(neighbours[n]))

    def solve(self, diagonal: list[float], couplings: Sequence[float], right: list[float]) -> list[float]:
        """The unknowns of: diagonal[n] x[n] - sum of couplings[m] x[other] = right[n]. Both lists are used up."""
        values = [0.0] * self._slots
        for given, value in zip(self._given, couplings, strict=True):
            values[given] += value
        for node, own, fills in self._steps:
            pivot, rest = diagonal[node], right[node]
            for other, at in own:
                share = values[at] / pivot
                diagonal[other] -= share * values[at]
                right[other] += share * rest
            for target, one, two in fills:
                values[target] += values[one] * values[two] / pivot
        found = [0.0] * len(diagonal)
        for node, own, _ in reversed(self._steps):
            total = right[node]
            for other, at in own:
                total += values[at] * found[other]
            found[node] = total / diagonal[node]
        return found
