"""The simulated bed with its sensors and faults: water, floats, probes, as the relay moves it through time."""

from dataclasses import replace
from math import inf
from random import Random

from waaler.bed.figures import Figures
from waaler.guard.messages import Input, Level
from waaler.model.bed import LONGEST_WET_STEP_S, Water, advance, full_bed, has_settled
from waaler.model.faults import Fault, named
from waaler.model.sensors import NOISE_PERCENT, Float, air_c, moisture_percent
from waaler.plan.sensing import Adviser, AdviserKind

__all__ = ["World"]

TRAY_WET_L = 0.5
LEAK_L_PER_H = 2.0
LOST_SHARE = 1 / 3
SLOW_DRAIN = 0.1


class World:
    """start_hour: local hour of the day at the beginning. now_s: seconds since then.

    After a power cut the relay is off, since nothing holds it.
    """

    def __init__(self, figures: Figures, faults: tuple[Fault, ...], start_hour: float, seed: int) -> None:
        self.figures, self.faults = figures, faults
        self.water: Water = full_bed(figures)
        self.now_s = 0.0
        self.is_on = False
        self._start_hour = start_hour
        self._noise = Random(seed)
        self._floats = {"sump": Float(figures.sump_low_l), "tray": Float(figures.tray_high_l)}
        self._stuck: dict[str, float | None] = {}

    @property
    def hour(self) -> float:
        """Local hour of the day, 0 to 24; a clock change within the rehearsal is not seen by the sun."""
        return (self._start_hour + self.now_s / 3600) % 24

    @property
    def present(self) -> frozenset[str]:
        """The faults that are there now."""
        return named(self.faults, self.now_s)

    def pump_runs(self) -> bool:
        present = self.present
        if present & {"power-cut", "dead-pump"}:
            return False
        return self.is_on or "welded-relay" in present

    def next_s(self) -> float:
        """The next instant at which the world may look different by itself."""
        edges = [edge for fault in self.faults for edge in (fault.starts_s, fault.ends_s) if edge > self.now_s]
        moving = self.now_s + LONGEST_WET_STEP_S if self.pump_runs() or not has_settled(self.water) else inf
        return min([*edges, moving], default=inf)

    def go_to(self, now_s: float) -> None:
        """Lets time pass up to now_s; the faults of the beginning hold to the end."""
        present, seconds = self.present, now_s - self.now_s
        drain_open = 0.0 if "blocked-drain" in present else SLOW_DRAIN if "slow-drain" in present else 1.0
        before_l = self.water.lifted_l
        self.water = advance(self.water, self.figures, seconds, self.pump_runs(), self.hour, drain_open)
        if "leak" in present:
            self._lose(LEAK_L_PER_H * seconds / 3600)
        if "tube-off" in present:
            self._lose(LOST_SHARE * (self.water.lifted_l - before_l))
        self.now_s = now_s

    def levels(self) -> dict[Input, Level]:
        """What both protective floats read now."""
        sump = self._floats["sump"].see(self.water.sump_l)
        tray = not self._floats["tray"].see(self.water.tray_l)
        return {
            Input.SUMP_LOW: self._level("sump", sump),
            Input.TRAY_HIGH: self._level("tray", tray),
        }

    def reading(self, adviser: Adviser) -> float | None:
        """What an adviser reads now; None if it gives nothing."""
        present = self.present
        if adviser.kind is AdviserKind.TEMPERATURE:
            return air_c(self.hour)
        if adviser.kind is AdviserKind.TRAY_WET:
            return 1.0 if self.water.tray_l > TRAY_WET_L or "puddle" in present else 0.0
        true = moisture_percent(self.water, self.figures) + self._noise.gauss(0.0, NOISE_PERCENT)
        if "probe-dead" in present:
            return None
        if "probe-stuck" in present:
            return self._stuck.setdefault(adviser.name, true)
        self._stuck.pop(adviser.name, None)
        if "probe-in-wet-pot" in present:
            return 99.0 + self._noise.gauss(0.0, NOISE_PERCENT)
        if "probe-reads-dry" in present:
            return 5.0 + self._noise.gauss(0.0, NOISE_PERCENT)
        return self._noise.uniform(0.0, 110.0) if "probe-jumps" in present else true

    def _level(self, name: str, is_good: bool) -> Level:
        present = self.present
        if f"{name}-float-not-read" in present:
            return Level.NOT_READ
        if f"{name}-float-stuck-bad" in present:
            return Level.BAD
        if f"{name}-float-stuck-good" in present:
            return Level.GOOD
        return Level.GOOD if is_good else Level.BAD

    def _lose(self, litres: float) -> None:
        lost_l = min(litres, self.water.sump_l)
        self.water = replace(self.water, sump_l=self.water.sump_l - lost_l, spilled_l=self.water.spilled_l + lost_l)
