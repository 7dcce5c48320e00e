"""The simulated bed with its sensors and faults: water, floats, probes, as the relay moves it through time."""

from collections.abc import Mapping
from dataclasses import replace
from math import inf, sqrt
from random import Random

from waaler.bed.budget import poured_ec
from waaler.bed.solution import Solution
from waaler.bed.wiring import AnalogDevice, AnalogInput
from waaler.guard.messages import Input, Level, Trip
from waaler.model.bed import (
    DRIP_S,
    LINE_BACK_S,
    Bed,
    Water,
    advance,
    full_bed,
    has_settled,
    in_bed_l,
    longest_step_s,
)
from waaler.model.faults import Fault, named
from waaler.model.sensors import FLOAT_PLAY, Float, Probe, moisture_percent, seat, simulated_probe
from waaler.model.sky import Sky
from waaler.plan.sensing import Adviser, AdviserKind

__all__ = ["World"]

TRAY_WET_L = 0.5
PUMP_A = 2.0
"""A 24 V pump of some 50 W. Common practice, no source."""

LEAK_L_PER_H = 2.0
LOST_SHARE = 1 / 3
CLOGGED = 0.1
SLOW_DRAIN = 0.1
REFILL_L = 60.0
CHATTER_AFTER_L = 12.0
RUN_BACK_TURNS_S = 50.0
RUN_BACK_SHARE = 0.4
"""Of the flow that was. A line that runs back turns a meter the wrong way round. Common practice, no source."""

LEAST_LOOK_S = 0.5
"""Near a float's mark the water is looked at so often while it moves."""


class World:
    """start_hour: local hour of the day at the beginning. now_s: seconds since then.

    skies: one for each day from the beginning, the last one for all that follow; none: as the figures say.
    probes: as they are wired, by name; pots: numbers of the pots that the layout gives a name, from 0.
    is_on, is_cutoff_on: what the two relays were told; after a power cut both are off, since nothing holds them.
    """

    def __init__(
        self,
        bed: Bed,
        faults: tuple[Fault, ...],
        start_hour: float,
        seed: int,
        has_cutoff: bool = False,
        skies: tuple[Sky, ...] = (),
        probes: Mapping[str, AnalogDevice] | None = None,
        pots: Mapping[str, int] | None = None,
    ) -> None:
        self.bed, self.figures, self.faults = bed, bed.figures, faults
        self.water: Water = full_bed(bed)
        self.now_s = 0.0
        self.is_on = False
        self.is_cutoff_on = False
        self.present: frozenset[str] = named(faults, 0.0)
        self._edges = [*sorted({edge for fault in faults for edge in (fault.starts_s, fault.ends_s)}), inf]
        self._next_edge_s = next(edge for edge in self._edges if edge > 0)
        self._has_cutoff = has_cutoff
        self._flowed_until_s = -inf
        self._lifted_at_start_l = 0.0
        self._start_hour = start_hour
        figures = bed.figures
        self._skies = skies or (Sky(tuple(pot.drink_l_per_day for pot in figures.pots)),)
        self._noise = Random(seed)
        self._floats = {"sump": Float(figures.sump_low_l), "tray": Float(figures.tray_high_l)}
        self._wired, self._pots = probes or {}, pots or {}
        self._probes: dict[str, Probe] = {}

    # --- time --------------------------------------------------------------------------------

    @property
    def hour(self) -> float:
        """Local hour of the day, 0 to 24; a clock change within the rehearsal is not seen by the sun."""
        return (self._start_hour + self.now_s / 3600) % 24

    @property
    def sky(self) -> Sky:
        """What is overhead today."""
        day = int((self._start_hour * 3600 + self.now_s) // 86_400)
        return self._skies[min(day, len(self._skies) - 1)]

    @property
    def air_c(self) -> float:
        """Air in the tunnel."""
        return self.sky.air_at(self.hour)

    def next_s(self) -> float:
        """The next instant at which the world may look different by itself; midnight is one, for its new sky."""
        midnight_s = self.now_s + (24 - self.hour) * 3600
        due = [self._next_edge_s, midnight_s, self.now_s + self._quiet_s()]
        if self._flowed_until_s + RUN_BACK_TURNS_S > self.now_s and "run-back-turns-meter" in self.present:
            due.append(self._flowed_until_s + RUN_BACK_TURNS_S)
        return min(due)

    def go_to(self, now_s: float) -> None:
        """Lets time pass up to now_s; the faults of the beginning hold to the end."""
        present, seconds = self.present, now_s - self.now_s
        runs = self.pump_runs()
        if runs:
            self._flowed_until_s = now_s
        before_l = self.water.lifted_l
        self.water = advance(
            self.bed, self.water, seconds, runs, self.sky, self.hour, self._drain_open, self._outlets()
        )
        if "leak" in present:
            self._lose(LEAK_L_PER_H * seconds / 3600)
        if "tube-off" in present:
            self._lose(LOST_SHARE * (self.water.lifted_l - before_l))
        before_s, self.now_s = self.now_s, now_s
        if now_s >= self._next_edge_s:
            self._pass_edges(before_s)

    def _pass_edges(self, before_s: float) -> None:
        self.present = named(self.faults, self.now_s)
        self._next_edge_s = next(edge for edge in self._edges if edge > self.now_s)
        begun = {fault.name for fault in self.faults if before_s < fault.starts_s <= self.now_s}
        if "refill" in begun:
            self._pour(REFILL_L, self.bed.feed.ec)

    def _quiet_s(self) -> float:
        """How long nothing happens that a float could see, or that the bed would do otherwise in the middle of."""
        is_on = self.pump_runs()
        drain_open = self._drain_open
        if not is_on and has_settled(self.water, drain_open):
            return inf
        flow = self._flow_l_per_min() if is_on else 0.0
        longest_s = longest_step_s(self.bed, self.water, flow, drain_open)
        sump, tray = self._floats["sump"].turns_at_l, self._floats["tray"].turns_at_l
        water = self.water
        nearest_l = min(abs(water.sump_l - sump), abs(water.tray_l - tray))
        return min(longest_s, max(LEAST_LOOK_S, 60 * nearest_l / self._fastest_l_per_min(flow)))

    def _fastest_l_per_min(self, flow: float) -> float:
        """No level changes faster than this now, nor within the next step."""
        water = self.water
        back = 60 * self.figures.line_l / LINE_BACK_S if water.line_l > 0 and flow == 0 else 0.0
        inflow = flow + back + 60 * water.dripping_l / DRIP_S
        return inflow + self.bed.drain * sqrt(water.tray_l + inflow) + 1e-6

    # --- the pump ----------------------------------------------------------------------------

    def drive(self, main: bool, cutoff: bool) -> None:
        """What the two relays are told; without a cut-off relay the second says nothing."""
        if main and not self.is_on:
            self._lifted_at_start_l = self.water.lifted_l
        self.is_on, self.is_cutoff_on = main, cutoff

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
            return self._flow_l_per_min()
        is_running_back = self.now_s < self._flowed_until_s + RUN_BACK_TURNS_S
        if is_running_back and "run-back-turns-meter" in present:
            return RUN_BACK_SHARE * self.figures.pump_l_per_min
        return 0.0

    def _flow_l_per_min(self) -> float:
        return sum(self._outlets() or self.bed.outlets.at(self.water.sump_l))

    def _outlets(self) -> tuple[float, ...] | None:
        """What the outlets give, where a fault changes it."""
        if "outlet-clogged" not in self.present:
            return None
        *others, last = self.bed.outlets.at(self.water.sump_l)
        return (*others, CLOGGED * last)

    @property
    def _drain_open(self) -> float:
        present = self.present
        if not present:
            return 1.0
        return 0.0 if "blocked-drain" in present else SLOW_DRAIN if "slow-drain" in present else 1.0

    # --- people ------------------------------------------------------------------------------

    def fill(self) -> float:
        """Somebody fills the sump to the full mark, less what tray and line still hold; the litres.

        They pour what makes it as fresh as may be: plain water where the solution has grown stronger.
        """
        water = self.water
        on_its_way_l = water.tray_l + water.line_l + water.dripping_l
        litres = max(0.0, self.figures.sump_full_l - water.sump_l - on_its_way_l)
        feed = self.bed.feed
        self._pour(litres, poured_ec(Solution(in_bed_l(water), water.ec), litres, feed.ec, feed.water_ec))
        return litres

    def _pour(self, litres: float, ec: float) -> None:
        water = self.water
        self.water = replace(water, sump_l=water.sump_l + litres, salts=water.salts + ec * litres)

    def _lose(self, litres: float) -> None:
        water = self.water
        lost_l = min(litres, water.sump_l)
        self.water = replace(
            water,
            sump_l=water.sump_l - lost_l,
            spilled_l=water.spilled_l + lost_l,
            salts=water.salts - water.ec * lost_l,
        )

    # --- what is read ------------------------------------------------------------------------

    @property
    def chatters(self) -> bool:
        """Whether the sump's float chatters: at its mark, which the sump reaches in the middle of each run."""
        if "sump-float-chatters" not in self.present:
            return False
        return self.is_on and self.water.lifted_l - self._lifted_at_start_l > CHATTER_AFTER_L

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
        if adviser.kind is AdviserKind.TEMPERATURE:
            return self.air_c
        if adviser.kind is AdviserKind.LIGHT:
            return None if "light-dead" in self.present else self.sky.light_w_per_m2(self.hour)
        if adviser.kind is AdviserKind.LEVEL:
            return self.water.sump_l
        if adviser.kind is AdviserKind.CURRENT:
            return PUMP_A if self.pump_runs() else 0.0
        if adviser.kind is AdviserKind.TRAY_WET:
            return 1.0 if self.water.tray_l > TRAY_WET_L or "puddle" in self.present else 0.0
        probe = self._probes.get(adviser.name)
        if probe is None:
            pot = seat(adviser.name, len(self._probes), len(self.figures.pots), self._pots)
            wired = self._wired.get(adviser.name)
            known = wired or simulated_probe(adviser.name, AnalogInput(len(self._probes)))
            is_calibrated = wired is None or adviser.is_calibrated
            probe = self._probes[adviser.name] = Probe(pot, known, is_calibrated)
        true = moisture_percent(self.bed, self.water, probe.pot)
        return probe.percent(true, self.present, self.now_s, self._noise)

    def _level(self, name: str, is_good: bool) -> Level:
        present = self.present
        if present:
            if f"{name}-float-not-read" in present:
                return Level.NOT_READ
            if f"{name}-float-stuck-bad" in present:
                return Level.BAD
            if f"{name}-float-stuck-good" in present:
                return Level.GOOD
        return Level.GOOD if is_good else Level.BAD
