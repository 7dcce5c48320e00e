"""Wall times for people and for other programs."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

__all__ = ["local", "rfc3339"]


def local(wall_s: float, zone: ZoneInfo) -> datetime:
    """Seconds since 1970 UTC as the bed's local time, aware."""
    return datetime.fromtimestamp(wall_s, UTC).astimezone(zone)


def rfc3339(wall_s: float | None, zone: ZoneInfo) -> str | None:
    """With the zone's offset, to the second; None stays None."""
    return None if wall_s is None else local(wall_s, zone).isoformat(timespec="seconds")
