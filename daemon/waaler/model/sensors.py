"""What the simulated bed's sensors read: floats with their play, probes in converter counts with their faults."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from math import exp
from random import Random

from waaler.bed.scale import Scale
from waaler.bed.wiring import AnalogDevice, AnalogInput, ConverterKind
from waaler.model.bed import Bed, Water

__all__ = [
    "FLOAT_PLAY", "I2C_COUNT_V", "NOISE_PERCENT", "SPI_COUNT_V", "Float", "Probe", "counts_of", "counts_on",
    "moisture_percent", "seat", "simulated_probe",
]  # fmt: skip

FLOAT_PLAY = 0.03
"""A float swings back only when the volume has moved this share past its mark. Common practice, no source."""

DRY_COUNTS = 820.0
WET_COUNTS = 380.0
"""A simulated probe that the file does not calibrate, on a ten-bit converter: less voltage the wetter it is. Common
practice, no source."""

MOST_COUNTS = 1023
SPI_COUNT_V, I2C_COUNT_V = 3.3 / 1023, 4.096 / 32_768
"""Volts of one count: of the ten-bit converter at 3.3 V, of the I2C one at the range that is used."""

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
    """A moisture probe in a pot, on a converter. pot: counted from 0. wired: what the file makes of its counts.

    is_calibrated: then its counts are what the file says; else those of the simulated probe. `percent` is what the
    daemon would make of them.
    """

    pot: int
    wired: AnalogDevice
    is_calibrated: bool = True
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
        full_counts = self.wired.source.converter.full_counts
        counts = round(self.counts(self._misread(shown, present, now_s, noise)))
        if "probe-wire-broken" in present:
            counts = full_counts
        # as the device has it: a converter without a sensor gives nothing or all
        return self.wired.scale.value(counts) if 0 < counts < full_counts else None

    def counts(self, percent: float) -> float:
        """Of its converter, within what that can give."""
        if not self.is_calibrated:
            return counts_on(self.wired.source, percent)
        most = self.wired.source.converter.full_counts
        return min(float(most), max(0.0, self._inverse.value(percent)))

    @cached_property
    def _inverse(self) -> Scale:
        """Counts by moisture; a calibration only rises or only falls."""
        return Scale.of(*((percent, counts) for counts, percent in self.wired.scale.points))

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
    return 100 * water.media_l[pot] / bed.pots_l[pot]


def counts_of(percent: float) -> float:
    """Counts of the simulated probe on a ten-bit converter."""
    return min(float(MOST_COUNTS), max(0.0, DRY_COUNTS + (WET_COUNTS - DRY_COUNTS) * percent / 100))


def counts_on(source: AnalogInput, percent: float) -> float:
    """What the simulated probe gives at this moisture: the same voltage is more counts on the finer converter."""
    finer = SPI_COUNT_V / I2C_COUNT_V if source.converter is ConverterKind.I2C else 1.0
    return finer * counts_of(percent)


def simulated_probe(name: str, source: AnalogInput) -> AnalogDevice:
    """The simulated probe with its own calibration."""
    return AnalogDevice(name, source, Scale.of(*((counts_on(source, share), share) for share in (0.0, 100.0))))
