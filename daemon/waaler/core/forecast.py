"""What the sump is expected to hold now, and until when, for whoever asks without a step of the decisions."""

from datetime import datetime
from zoneinfo import ZoneInfo

from waaler.core.level import drunk_l, low_at
from waaler.core.state import State
from waaler.guard.messages import Instant

__all__ = ["expected"]


def expected(state: State, at: Instant) -> tuple[float, float | None] | None:
    """Litres at rest, and the wall time at which they reach the low mark, None if that is not foreseen.

    None where nothing is known of the level.
    """
    level, care = state.level, state.care
    if level is None or care.figures is None:
        return None
    zone = ZoneInfo(state.plan.place.timezone)
    now = datetime.fromtimestamp(at.wall_s, zone)
    then = datetime.fromtimestamp(at.wall_s + level.at_s - at.long_s, zone)
    litres = max(care.figures.sump_empty_l, level.litres - drunk_l(care, then, now))
    low = low_at(care, litres, now)
    return litres, None if low is None else low.timestamp()
