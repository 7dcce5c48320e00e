"""What the simulated bed's sensors read: floats with their play, a probe with its noise, in converter counts."""

from dataclasses import dataclass
from math import cos, pi
from random import Random

from waaler.bed.figures import Figures
from waaler.model.bed import Water, capacity_l

__all__ = [
    "DRY_COUNTS",
    "FLOAT_PLAY",
    "MEAN_C",
    "NOISE_PERCENT",
    "SWING_C",
    "WET_COUNTS",
    "Float",
    "air_c",
    "counts_of",
    "moisture_percent",
    "probe_counts",
]

FLOAT_PLAY = 0.03
"""A float swings back only when the volume has moved this share past its mark. Common practice, no source."""

DRY_COUNTS = 820.0
WET_COUNTS = 380.0
"""The simulated probe on a ten-bit converter: less voltage the wetter it is. Common practice, no source."""

NOISE_PERCENT = 0.15
"""Standard deviation of one minute's median. Common practice, no source."""


@dataclass(slots=True)
class Float:
    """A float switch at a mark (litres); lifted while the volume is above it."""

    mark_l: float
    is_lifted: bool = False

    def see(self, volume_l: float) -> bool:
        """Whether it is lifted at this volume."""
        play_l = FLOAT_PLAY * self.mark_l
        if volume_l >= self.mark_l:
            self.is_lifted = True
        elif volume_l < self.mark_l - play_l:
            self.is_lifted = False
        return self.is_lifted


def moisture_percent(water: Water, figures: Figures) -> float:
    """True moisture of the media: 0 dry, 100 at container capacity."""
    return 100 * water.media_l / capacity_l(figures)


def probe_counts(water: Water, figures: Figures, noise: Random) -> float:
    """What the converter gives for the probe, 0 to 1023."""
    percent = moisture_percent(water, figures) + noise.gauss(0.0, NOISE_PERCENT)
    return counts_of(percent)


MEAN_C, SWING_C = 22.0, 6.0
"""An ordinary day in the tunnel. Common practice, no source."""


def air_c(hour: float, mean_c: float = MEAN_C, swing_c: float = SWING_C) -> float:
    """Air in the tunnel at this local hour (0 to 24): warmest at 15 h. Common practice, no source."""
    return mean_c + swing_c * cos(2 * pi * (hour - 15.0) / 24)


def counts_of(percent: float) -> float:
    """Converter counts of a moisture."""
    return min(1023.0, max(0.0, DRY_COUNTS + (WET_COUNTS - DRY_COUNTS) * percent / 100))
