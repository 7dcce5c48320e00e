"""The sump's solution as plants drink and people top it up: well mixed, salts neither made nor lost.

Any conservative concentration, mg/L; EC at 25 C in mS/cm as a rough stand-in.
"""

from dataclasses import dataclass

__all__ = ["Solution", "after"]


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
