"""What the simulated bed's sensors read: floats with their play, probes in converter counts with their faults."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import exp
from random import Random

from waaler.bed.wiring import ProbeInput
from waaler.model.bed import Bed, Water

__all__ = [
    "DRY_COUNTS", "FLOAT_PLAY", "NOISE_PERCENT", "WET_COUNTS", "Float", "Probe", "counts_of", "moisture_percent",
    "seat",
]  # fmt: skip

FLOAT_PLAY = 0.03
"""A float swings back only when the volume has moved this share past its mark. Common practice, no source."""

DRY_COUNTS = 820.0
WET_COUNTS = 380.0
"""A simulated probe that the file does not calibrate, on a ten-bit converter: less voltage the wetter it is. Common
practice, no source."""

MOST_COUNTS = 1023
NOISE_PERCENT = 0.15
"""Standard deviation of one minute's median. Common practice, no source."""

NOISY_PERCENT = 6.0
DRIFT_PERCENT_PER_DAY = 1.0
SLOW_S = 3600.0
"""Of the faults; common practice, no source."""


@dataclass(slots=True)
class Float:
    """A float switch at a mark (litres); lifted while the volume is above it."""

    mark_l: float
    is_lifted: bool = False

    @property
    def turns_at_l(self) -> float:
        """Where it changes next."""
        return (1 - FLOAT_PLAY) * self.mark_l if self.is_lifted else self.mark_l

    def see(self, volume_l: float) -> bool:
        """Whether it is lifted at this volume."""
        if volume_l >= self.mark_l:
            self.is_lifted = True
        elif volume_l < (1 - FLOAT_PLAY) * self.mark_l:
            self.is_lifted = False
        return self.is_lifted


@dataclass
class Probe:
    """A moisture probe in a pot, on the converter. pot: counted from 0. wired: with its calibration, if it has one.

    `percent` is what the daemon would make of its counts.
    """

    pot: int
    wired: ProbeInput
    _kept: float | None = None
    _followed: float | None = None
    _followed_s: float = 0.0
    _began: dict[str, float] = field(default_factory=dict)

    def percent(self, true_percent: float, present: frozenset[str], now_s: float, noise: Random) -> float | None:
        """What it reads at this true moisture; None if it gives nothing. present: the faults that are there."""
        for name in self._began.keys() - present:
            del self._began[name]
        shown = self._follow(true_percent, present, now_s) + noise.gauss(0.0, NOISE_PERCENT)
        if "probe-dead" in present:
            return None
        counts = round(self.counts(self._misread(shown, present, now_s, noise)))
        if "probe-wire-broken" in present:
            counts = MOST_COUNTS
        # as the device has it: a converter without a sensor gives nothing or all
        return self.wired.percent(counts) if 0 < counts < MOST_COUNTS else None

    def counts(self, percent: float) -> float:
        """Of the converter, by the probe's own calibration; where it has none, by the simulated one's."""
        wired = self.wired
        if wired.dry_counts is None or wired.wet_counts is None:
            return counts_of(percent, DRY_COUNTS, WET_COUNTS)
        return counts_of(percent, wired.dry_counts, wired.wet_counts)

    def _follow(self, true_percent: float, present: frozenset[str], now_s: float) -> float:
        """A slow probe comes nearer to the truth as time goes by; any other shows it at once."""
        if "probe-slow" not in present or self._followed is None:
            self._followed = true_percent
        else:
            behind = (self._followed - true_percent) * exp(-(now_s - self._followed_s) / SLOW_S)
            self._followed = true_percent + behind
        self._followed_s = now_s
        return self._followed

    def _misread(self, shown: float, present: frozenset[str], now_s: float, noise: Random) -> float:
        if "probe-stuck" not in present:
            self._kept = shown
        elif self._kept is not None:
            return self._kept
        if "probe-in-wet-pot" in present:
            return 99.0 + noise.gauss(0.0, NOISE_PERCENT)
        if "probe-reads-dry" in present:
            return 5.0 + noise.gauss(0.0, NOISE_PERCENT)
        if "probe-jumps" in present:
            return noise.uniform(0.0, 110.0)
        if "probe-noisy" in present:
            shown += noise.gauss(0.0, NOISY_PERCENT)
        if "probe-drifts" in present:
            began_s = self._began.setdefault("probe-drifts", now_s)
            shown -= DRIFT_PERCENT_PER_DAY * (now_s - began_s) / 86_400
        return shown


def seat(name: str, place: int, pots: int, names: Mapping[str, int]) -> int:
    """The pot that a probe sits in, from 0: the one of its name in the layout, else by the number at its end, else
    as many as there are probes before it."""
    if name in names:
        return names[name]
    digits = name[len(name.rstrip("0123456789")) :]
    number = int(digits) - 1 if digits else place
    return number if 0 <= number < pots else place % pots


def moisture_percent(bed: Bed, water: Water, pot: int) -> float:
    """True moisture of a pot's media: 0 dry, 100 at container capacity."""
    return 100 * water.media_l[pot] / bed.pot_l


def counts_of(percent: float, dry_counts: float = DRY_COUNTS, wet_counts: float = WET_COUNTS) -> float:
    """Converter counts of a moisture."""
    return min(MOST_COUNTS, max(0.0, dry_counts + (wet_counts - dry_counts) * percent / 100))
