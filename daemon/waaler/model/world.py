"""The simulated bed with its sensors and faults: water, floats, probes, as the relay moves it through time."""

from dataclasses import dataclass, replace
from math import inf
from random import Random

from waaler.bed.figures import Figures
from waaler.guard.messages import Input, Level, Trip
from waaler.model.bed import LONGEST_WET_STEP_S, Water, advance, full_bed, has_settled
from waaler.model.faults import Fault, named
from waaler.model.sensors import FLOAT_PLAY, MEAN_C, NOISE_PERCENT, SWING_C, Float, air_c, moisture_percent
from waaler.plan.sensing import Adviser, AdviserKind

__all__ = ["Sky", "World"]

TRAY_WET_L = 0.5
LEAK_L_PER_H = 2.0
LOST_SHARE = 1 / 3
SLOW_DRAIN = 0.1
REFILL_L = 60.0
CHATTER_AFTER_L = 12.0
RUN_BACK_TURNS_S = 50.0
RUN_BACK_SHARE = 0.4
"""Of the flow that was. A line that runs back turns a meter the wrong way round. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Sky:
    """A day at the bed: what a pot drinks, and the air's mean and swing."""

    drink_l_per_pot: float
    mean_c: float = MEAN_C
    swing_c: float = SWING_C


class World:
    """start_hour: local hour of the day at the beginning. now_s: seconds since then.

    skies: one for each day from the beginning, the last one for all that follow; none: as the figures say.
    is_on, is_cutoff_on: what the two relays were told; after a power cut both are off, since nothing holds them.
    """

    def __init__(
        self,
        figures: Figures,
        faults: tuple[Fault, ...],
        start_hour: float,
        seed: int,
        has_cutoff: bool = False,
        skies: tuple[Sky, ...] = (),
    ) -> None:
        self.figures, self.faults = figures, faults
        self.water: Water = full_bed(figures)
        self.now_s = 0.0
        self.is_on = False
        self.is_cutoff_on = False
        self._has_cutoff = has_cutoff
        self._flowed_until_s = -inf
        self._lifted_at_start_l = 0.0
        self._start_hour = start_hour
        self._skies = skies or (Sky(figures.drink_l_per_pot_day),)
        self._thirst = [replace(figures, drink_l_per_pot_day=sky.drink_l_per_pot) for sky in self._skies]
        self._noise = Random(seed)
        self._floats = {"sump": Float(figures.sump_low_l), "tray": Float(figures.tray_high_l)}
        self._stuck: dict[str, float | None] = {}

    @property
    def hour(self) -> float:
        """Local hour of the day, 0 to 24; a clock change within the rehearsal is not seen by the sun."""
        return (self._start_hour + self.now_s / 3600) % 24

    @property
    def _day(self) -> int:
        """Which of the skies is overhead."""
        return min(int((self._start_hour * 3600 + self.now_s) // 86_400), len(self._skies) - 1)

    @property
    def air_c(self) -> float:
        """Air in the tunnel."""
        sky = self._skies[self._day]
        return air_c(self.hour, sky.mean_c, sky.swing_c)

    @property
    def present(self) -> frozenset[str]:
        """The faults that are there now."""
        return named(self.faults, self.now_s)

    def drive(self, main: bool, cutoff: bool) -> None:
        """What the two relays are told; without a cut-off relay the second says nothing."""
        if main and not self.is_on:
            self._lifted_at_start_l = self.water.lifted_l
        self.is_on, self.is_cutoff_on = main, cutoff

    @property
    def chatters(self) -> bool:
        """Whether the sump's float chatters: at its mark, which the sump reaches in the middle of each run."""
        has_dipped = self.water.lifted_l - self._lifted_at_start_l > CHATTER_AFTER_L
        return self.is_on and has_dipped and "sump-float-chatters" in self.present

    @property
    def is_live(self) -> bool:
        """Whether the supply reaches past the last contact."""
        present = self.present
        if "power-cut" in present:
            return False
        is_cutoff_closed = not self._has_cutoff or self.is_cutoff_on or "welded-cutoff" in present
        return is_cutoff_closed and (self.is_on or "welded-relay" in present)

    def pump_runs(self) -> bool:
        return self.is_live and "dead-pump" not in self.present

    @property
    def flow_l_per_min(self) -> float:
        """What a flow meter behind the pump shows."""
        present = self.present
        if "meter-dead" in present:
            return 0.0
        if self.pump_runs() and self.water.sump_l > self.figures.sump_empty_l:
            return self.figures.pump_l_per_min
        is_running_back = self.now_s < self._flowed_until_s + RUN_BACK_TURNS_S
        if "run-back-turns-meter" in present and is_running_back:
            return RUN_BACK_SHARE * self.figures.pump_l_per_min
        return 0.0

    def next_s(self) -> float:
        """The next instant at which the world may look different by itself."""
        edges = [edge for fault in self.faults for edge in (fault.starts_s, fault.ends_s) if edge > self.now_s]
        moving = self.now_s + LONGEST_WET_STEP_S if self.pump_runs() or not has_settled(self.water) else inf
        run_back_s = self._flowed_until_s + RUN_BACK_TURNS_S
        return min([*edges, moving, run_back_s if run_back_s > self.now_s else inf])

    def go_to(self, now_s: float) -> None:
        """Lets time pass up to now_s; the faults of the beginning hold to the end."""
        present, seconds = self.present, now_s - self.now_s
        if self.pump_runs():
            self._flowed_until_s = now_s
        drain_open = 0.0 if "blocked-drain" in present else SLOW_DRAIN if "slow-drain" in present else 1.0
        before_l = self.water.lifted_l
        self.water = advance(self.water, self._thirst[self._day], seconds, self.pump_runs(), self.hour, drain_open)
        if "leak" in present:
            self._lose(LEAK_L_PER_H * seconds / 3600)
        if "tube-off" in present:
            self._lose(LOST_SHARE * (self.water.lifted_l - before_l))
        begun = {fault.name for fault in self.faults if self.now_s < fault.starts_s <= now_s}
        if "refill" in begun:
            self.water = replace(self.water, sump_l=self.water.sump_l + REFILL_L)
        self.now_s = now_s

    def fill(self) -> float:
        """Somebody fills the sump to the full mark, less what tray and line still hold; the litres."""
        water = self.water
        litres = max(0.0, self.figures.sump_full_l - water.sump_l - water.tray_l - water.line_l)
        self.water = replace(water, sump_l=water.sump_l + litres)
        return litres

    def levels(self) -> dict[Input, Level]:
        """What both protective floats read now."""
        sump = self._floats["sump"].see(self.water.sump_l)
        tray = not self._floats["tray"].see(self.water.tray_l)
        return {
            Input.SUMP_LOW: self._level("sump", sump),
            Input.TRAY_HIGH: self._level("tray", tray),
        }

    def explains(self, trip: Trip) -> bool:
        """Whether the cause that a trip stands for is truly there now."""
        figures, present = self.figures, self.present
        match trip:
            case Trip.LOW_SUMP:
                return self.water.sump_l < figures.sump_low_l
            case Trip.HIGH_TRAY:
                return self.water.tray_l >= (1 - FLOAT_PLAY) * figures.tray_high_l
            case Trip.NOT_READ:
                return bool(present & {"sump-float-not-read", "tray-float-not-read"})
            case Trip.NO_FLOW:
                return not self.pump_runs() or self.water.sump_l <= figures.sump_empty_l
            case Trip.OVERRUN | Trip.FLOW_WHILE_OFF:
                return bool(present & {"welded-relay", "welded-cutoff"})

    def reading(self, adviser: Adviser) -> float | None:
        """What an adviser reads now; None if it gives nothing."""
        present = self.present
        if adviser.kind is AdviserKind.TEMPERATURE:
            return self.air_c
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
