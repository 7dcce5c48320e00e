"""How a tray empties through its drain: Torricelli's law on a flat floor, solved in time."""

from math import exp, sqrt

__all__ = ["litres_after"]

ROUNDS = 60
CLOSE_ENOUGH = 1e-12
NOTHING = 1e-12
"""An inflow that is this share of the outflow, or less, changes nothing that could be seen."""


def litres_after(litres: float, inflow_l_per_min: float, minutes: float, drain: float) -> float:
    """What stands above the drain after a while of steady inflow.

    drain: litres a minute by the square root of the litres that stand; with a flat floor the outflow goes with the
    square root of the depth. With u the root of the volume: 2 u du/dt = inflow - drain u. Exact up to rounding.
    """
    if drain <= 0:
        return litres + inflow_l_per_min * minutes
    root = sqrt(litres)
    if inflow_l_per_min <= NOTHING * drain * (root + NOTHING):
        left = root - drain * minutes / 2
        return left * left if left > 0 else 0.0
    even = inflow_l_per_min / drain
    if abs(root - even) <= CLOSE_ENOUGH * even:
        return litres
    found = _root_after(root, even, drain * minutes / 2)
    # in a blink of time rounding could make water
    return min(found * found, litres + inflow_l_per_min * minutes)


def _root_after(root: float, even: float, time: float) -> float:
    """Solves root - u - even ln((even - u) / (even - root)) = time for u between root and even.

    With y for the negative logarithm: (root - even) (1 - exp(-y)) + even y = time. The left side rises, and bends
    one way only; Newton's method from the side of that bend never passes the solution.
    """
    y = (time + even - root) / even if root < even else time / root
    for _ in range(ROUNDS):
        left = exp(-y)
        step = ((root - even) * (1 - left) + even * y - time) / (even + (root - even) * left)
        y -= step
        if abs(step) <= CLOSE_ENOUGH * (1 + y):
            break
    return even + (root - even) * exp(-y)
