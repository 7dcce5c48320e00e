"""The sump's solution as plants drink and people top it up: well mixed, salts neither made nor lost.

Any conservative concentration, mg/L; EC at 25 C in mS/cm as a rough stand-in.
"""

from dataclasses import dataclass

__all__ = ["Solution", "after", "to_dilute_l"]


@dataclass(frozen=True, slots=True)
class Solution:
    litres: float
    concentration: float


def after(before: Solution, drunk_l: float, uptake: float, added_l: float = 0.0, added: float = 0.0) -> Solution:
    """V1 = V0 - W + R; c1 = (V0 c0 - W cu + R cm) / V1. uptake: concentration of what plants take; never below 0.

    Source: balance of water and salts, exact.
    """
    litres = before.litres - drunk_l + added_l
    salts = before.litres * before.concentration - drunk_l * uptake + added_l * added
    return Solution(litres, max(0.0, salts / litres)) if litres > 0 else Solution(0.0, 0.0)


def to_dilute_l(solution: Solution, wanted: float, water: float = 0.0) -> float:
    """Plain water that brings the solution down to `wanted`; 0 if it is that weak already.

    water: the plain water's own concentration. Raises ValueError where it is no weaker than what is wanted.
    """
    if not water < wanted:
        raise ValueError("the water is no weaker than what is wanted")
    return max(0.0, solution.litres * (solution.concentration - wanted) / (wanted - water))
