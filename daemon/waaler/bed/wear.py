"""How pump and drain change over the weeks: what is gathered in runs, and what it shows."""

from dataclasses import dataclass, replace
from functools import lru_cache
from statistics import fmean, median

__all__ = ["Upkeep", "Wear", "gauge", "has_dried", "is_drain_slowing", "is_weaker", "run_over"]

WEAKER_SHARE = 0.75
"""Of the usual flow; with WEAK_RUNS, SLOWER and LEAST_SLOWER_S: common practice, no source."""

WEAK_RUNS = 3
LEAST_READINGS = 10
SLOWER = 1.5
LEAST_SLOWER_S = 120.0
LATEST = 3
KEEP = 12


@dataclass(frozen=True, slots=True)
class Upkeep:
    """Since a person last entered a cleaning."""

    pumped_s: float = 0.0
    starts: int = 0


@dataclass(frozen=True, slots=True)
class Wear:
    """flows: readings of this run, L/min. means: of the last runs. dried_s: how long after its end the tray of each
    of the last runs fell dry. is_wet: the tray, and the run that wetted it has not been counted."""

    flows: tuple[float, ...] = ()
    means: tuple[float, ...] = ()
    dried_s: tuple[float, ...] = ()
    is_wet: bool = False


def gauge(wear: Wear, l_per_min: float) -> Wear:
    """A flow reading while the pump runs; a run's last two minutes are enough."""
    return replace(wear, flows=(*wear.flows, l_per_min)[-120:])


def run_over(wear: Wear) -> Wear:
    """The first readings, while the line fills, do not count."""
    if len(wear.flows) < LEAST_READINGS:
        return replace(wear, flows=())
    settled = wear.flows[len(wear.flows) // 2 :]
    return replace(wear, flows=(), means=(*wear.means, fmean(settled))[-WEAK_RUNS:])


def is_weaker(wear: Wear, normal_l_per_min: float) -> bool:
    """Whether the last three runs all gave less than three quarters of the usual flow."""
    return len(wear.means) == WEAK_RUNS and max(wear.means) < WEAKER_SHARE * normal_l_per_min


def has_dried(wear: Wear, seconds: float) -> Wear:
    """The tray fell dry so long after the end of a run."""
    return replace(wear, is_wet=False, dried_s=(*wear.dried_s, seconds)[-KEEP:])


def is_drain_slowing(wear: Wear) -> bool:
    """Whether each of the last three runs drained slower than was usual before."""
    return _is_slowing(wear.dried_s)


@lru_cache(maxsize=16)
def _is_slowing(dried_s: tuple[float, ...]) -> bool:
    """Asked at every event, and another only after a run."""
    before, latest = dried_s[:-LATEST], dried_s[-LATEST:]
    if len(before) < LATEST:
        return False
    usual_s = median(before)
    return min(latest) > max(SLOWER * usual_s, usual_s + LEAST_SLOWER_S)
