"""The two hands: the wall clock says when, the boot clock says how long."""

import time
from pathlib import Path

from waaler.guard.messages import Instant

__all__ = ["Clock", "WallSteps", "boot_id", "long_s"]

SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
HARDWARE_CLOCK = Path("/sys/class/rtc/rtc0/since_epoch")
AGREES_WITHIN_S = 5.0
STEP_S = 1.0
"""A wall clock that is only steered moves far less between two looks."""


def long_s() -> float:
    """The long hand: seconds since the boot, suspended time included."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def boot_id() -> str:
    """Names this boot, so that long-hand instants of another are not compared with it."""
    return BOOT_ID.read_text().strip()


class Clock:
    """is_trusted: the file says that the wall clock is right whatever else is known."""

    def __init__(self, is_trusted: bool) -> None:
        self._is_sure = is_trusted

    def now(self) -> Instant:
        return Instant(long_s(), time.time(), self._is_sure)

    @property
    def is_sure(self) -> bool:
        return self._is_sure

    def take(self, is_sure: bool) -> None:
        """What another process found of the wall clock."""
        self._is_sure = is_sure

    def check(self) -> None:
        """Looks whether the wall clock can be trusted; once sure it stays so for this boot."""
        self._is_sure = self._is_sure or SYNCHRONISED.exists() or _hardware_clock_agrees()


class WallSteps:
    """Notices when somebody, or the network's time, sets the wall clock."""

    def __init__(self, at: Instant) -> None:
        self._offset_s = at.wall_s - at.long_s

    def step_s(self, at: Instant) -> float:
        """How far the wall clock was set since the last look, negative for back; 0 if it was not."""
        offset_s = at.wall_s - at.long_s
        step_s, self._offset_s = offset_s - self._offset_s, offset_s
        return step_s if abs(step_s) > STEP_S else 0.0


def _hardware_clock_agrees() -> bool:
    try:
        since_epoch_s = float(HARDWARE_CLOCK.read_text())
    except (OSError, ValueError):
        return False
    return abs(time.time() - since_epoch_s) < AGREES_WITHIN_S
