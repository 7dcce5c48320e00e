"""From the written sections to the types that plan, guard and bed own; defaults that depend on each other."""

from collections.abc import Iterator
from datetime import date, timedelta
from math import inf

from waaler.bed.figures import Figures
from waaler.guard.limits import Limits
from waaler.plan.sensing import Adviser, AdviserKind, Range, Sensing
from waaler.plan.timetable import day_seconds
from waaler.plan.types import (
    AtTimes,
    Below,
    ClockMoment,
    Evenly,
    Every,
    HotDay,
    OnDemand,
    Pattern,
    PerDemand,
    PerLight,
    Place,
    Plan,
    Trigger,
    Window,
)  # fmt: skip
from waaler.settings.crossing import SUMP_FLOATS
from waaler.settings.models import BedFile, OnDemandSection, WindowSection

__all__ = ["busiest_day_s", "limits", "plan", "sensing"]

LONGEST_RUN_S = 600.0
LONGEST_RUN_SHARE = 1 / 3
LEAST_DAY_S = 3600.0
DAY_FACTOR = 4
TRAY_WET = "tray_wet"


def plan(file: BedFile, bed: Figures) -> Plan:
    """The plan; `250 mL per pot` becomes the seconds that fill the line and then give the dose."""
    return Plan(
        place=Place(file.place.timezone, file.place.latitude, file.place.longitude),
        windows=tuple(_window(section, bed) for section in file.plan),
        hot_day=None if file.hot_day is None else HotDay(file.hot_day.above, file.hot_day.extra_cycles),
        longest_gap_s=file.limits.longest_gap,
    )


def limits(file: BedFile, plan: Plan, bed: Figures) -> Limits:
    """longest_run: at most 10 min and a third of the usable sump; most_per_day: four plan days, at least 60 min."""
    section = file.limits
    third_s = 60 * LONGEST_RUN_SHARE * (bed.sump_full_l - bed.sump_empty_l) / bed.pump_l_per_min
    pins = file.pins
    meter = None if pins is None else pins.flow_meter
    return Limits(
        has_sump_float=pins is None or pins.sump_low != "none",
        has_tray_float=pins is None or pins.tray_high != "none",
        longest_run_s=section.longest_run or min(LONGEST_RUN_S, third_s),
        most_per_day_s=section.most_per_day or max(DAY_FACTOR * busiest_day_s(plan), LEAST_DAY_S),
        rest_s=section.rest,
        settle_sump_s=section.settle_sump,
        settle_tray_s=section.settle_tray,
        run_back_s=section.run_back,
        confirm_s=section.confirm,
        start_delay_s=section.start_delay,
        most_starts_per_h=section.most_starts,
        flow_within_s=section.flow_within,
        line_drain_s=section.line_drain,
        normal_flow_l_per_min=None if meter is None else meter.normal,
        has_read_back=pins is not None and pins.supply_sensed is not None,
        has_cutoff=pins is not None and pins.cutoff_relay is not None,
    )


def busiest_day_s(plan: Plan) -> float:
    """Pump seconds of the fullest day of a week in each month of a year: windows have weekdays and dates."""
    starts = (date(2026, month, 1) for month in range(1, 13))
    edges = {day for window in plan.windows for day in (window.starts, window.ends) if day is not None}
    days = (first + timedelta(days=n) for first in (*starts, *edges) for n in range(-6, 7))
    return max(day_seconds(plan, day) for day in set(days))


def sensing(file: BedFile) -> Sensing:
    section = file.sensing
    advisers = [
        Adviser(
            name=probe.name,
            kind=AdviserKind.MOISTURE,
            wet_above=probe.wet_above,
            dry_below=probe.dry_below,
            is_calibrated=probe.calibration is not None,
            most_change_per_min=probe.most_change,
        )
        for probe in section.probes
    ]
    advisers += [
        Adviser(thermometer.name, AdviserKind.TEMPERATURE, lowest=-30.0, highest=70.0, most_change_per_min=10.0)
        for thermometer in section.thermometers
    ]
    advisers += [
        Adviser(light.name, AdviserKind.LIGHT, lowest=-1.0, highest=1.01 * light.full, most_change_per_min=inf)
        for light in section.lights
    ]
    most_l = 1.2 * (file.layout.sump.brim or file.layout.sump.full)
    advisers += [
        Adviser(level.name, AdviserKind.LEVEL, highest=most_l, most_change_per_min=inf) for level in section.levels
    ]
    advisers += [
        Adviser(current.name, AdviserKind.CURRENT, highest=100.0, most_change_per_min=inf)
        for current in section.currents
    ]
    if file.pins is not None and file.pins.sump_floats:
        advisers.append(
            Adviser(SUMP_FLOATS, AdviserKind.LEVEL, highest=most_l, most_change_per_min=inf, is_coarse=True)
        )
    if file.pins is not None and file.pins.tray_wet is not None:
        advisers.append(Adviser(TRAY_WET, AdviserKind.TRAY_WET))
    return Sensing(
        advisers=tuple(advisers),
        skip_at_most=section.skip_at_most,
        hot_above_c=section.hot_above,
        extend_at_most=section.extend_at_most / 100,
        least_share=section.least_share / 100,
        drained_after_s=section.drained_after,
        extra_after_s=section.extra_after,
        ranges=tuple(_ranges(file)),
    )


def _ranges(file: BedFile) -> Iterator[Range]:
    solution = file.solution
    measured = (("EC", "mS/cm", solution.ec), ("pH", "", solution.ph), ("temperature", "C", solution.temperature))
    for name, unit, pair in measured:
        if pair is not None:
            yield Range(name, unit, pair[0], pair[1])


def _window(section: WindowSection, bed: Figures) -> Window:
    size, unit = section.water
    fallback = section.fallback or []
    return Window(
        name=section.window,
        pattern=_pattern(section),
        seconds=size if unit == "s" else float(round(bed.dose_s(size))),
        weekdays=frozenset(section.on or ()),
        starts=section.starts,
        ends=section.until,
        fallback_opens=fallback[0] if fallback and isinstance(fallback[0], ClockMoment) else None,
        fallback_closes=fallback[-1] if fallback and isinstance(fallback[-1], ClockMoment) else None,
        on_demand=None if section.on_demand is None else _on_demand(section.on_demand),
    )


def _pattern(section: WindowSection) -> Pattern:
    if section.at is not None:
        return AtTimes(tuple(section.at))
    assert section.between is not None
    opens, closes = section.between
    if section.cycles is not None:
        return Evenly(section.cycles, opens, closes)
    return Every(round((section.every or 0.0) / 60), opens, closes)


def _on_demand(section: OnDemandSection) -> OnDemand:
    opens, closes = section.between
    return OnDemand(_trigger(section), opens, closes, section.least_gap, section.at_most)


def _trigger(section: OnDemandSection) -> Trigger:
    if section.per_demand is not None:
        return PerDemand(section.per_demand, section.thermometer)
    if section.light is not None and section.per_light is not None:
        return PerLight(section.light, section.per_light)
    assert section.probe is not None
    assert section.below is not None
    return Below(section.probe, section.below)
