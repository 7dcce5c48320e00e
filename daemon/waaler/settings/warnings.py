"""What `check` says of a valid file: nothing that stops it, everything a grower should know."""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from waaler.bed.budget import ec_range, safe_gap_h
from waaler.bed.ledger import full, outlook
from waaler.bed.pots import crops_of, named
from waaler.plan.sun import sun_event
from waaler.plan.timetable import cycles_of_day, daytime_gap_s
from waaler.plan.types import Cycle, Moment, Plan, SunMoment
from waaler.settings.build import busiest_day_s
from waaler.settings.faults import Fault
from waaler.settings.layout_warnings import layout_warnings
from waaler.settings.models import WindowSection
from waaler.settings.pin_sections import PinsSection
from waaler.settings.pinning import pin_warnings
from waaler.settings.settings import Settings
from waaler.settings.text import Path, Source

__all__ = ["CAUTION_MAINS", "warnings"]

SHORT_RUN_S = 60.0
DAYS_OF_YEAR = 365
CAUTION_MAINS = (
    "mains and water: a residual-current device whose test button is pressed monthly, an enclosure, drip loops;"
    " everything on the mains side is for a licensed electrician and your local code"
)


def warnings(settings: Settings, today: date) -> tuple[Fault, ...]:
    """Warnings with their places; the plan is looked at on days around the year from today."""
    found = [
        *_collisions(settings, today),
        *_lengths(settings),
        *_sunless(settings, today),
        *_hot_day(settings),
        *_wiring(settings),
        *_messages(settings),
        *layout_warnings(settings),
        *_probes(settings),
        *_water(settings, today),
    ]
    return tuple(dict.fromkeys(found))


def _collisions(settings: Settings, today: date) -> Iterator[Fault]:
    """Two cycles of different windows that overlap or leave less than `rest`."""
    seen: set[tuple[str, str]] = set()
    for day in (today + timedelta(days=n) for n in range(0, 366, 5)):
        for before, after in pairwise(_cycles_from(settings.plan, day)):
            pair = (before.key.window, after.key.window)
            if pair in seen or not _is_close(before, after, settings.limits.rest_s):
                continue
            seen.add(pair)
            what = (
                f"on {day} {pair[0]} {before.key.n} and {pair[1]} {after.key.n} leave less than the rest of"
                f" {settings.limits.rest_s / 60:g} min"
            )
            yield settings.source.fault(_window_path(settings, after), what, "move one of them")


def _cycles_from(plan: Plan, day: date) -> list[Cycle]:
    """With the next day's, since a window may reach over midnight."""
    cycles = [cycle for n in (0, 1) for cycle in cycles_of_day(plan, day + timedelta(days=n))]
    return sorted(cycles, key=lambda cycle: cycle.start)


def _is_close(before: Cycle, after: Cycle, rest_s: float) -> bool:
    return (after.start - before.start).total_seconds() < before.seconds + rest_s


def _lengths(settings: Settings) -> Iterator[Fault]:
    limits, source = settings.limits, settings.source
    day_s = busiest_day_s(settings.plan)
    if day_s > limits.most_per_day_s:
        what = (
            f"the plan's day is {day_s / 60:.0f} min, more than most_per_day ({limits.most_per_day_s / 60:g} min)"
        )
        yield source.fault(("limits", "most_per_day"), what, "raise it if pump and house allow, or plan less")
    for n, window in enumerate(settings.plan.windows):
        path: Path = ("plan", n, "water")
        if window.seconds > limits.longest_run_s:
            what = (
                f"{window.seconds:.0f} s is longer than longest_run ({limits.longest_run_s:.0f} s), and cut there"
            )
            yield source.fault(path, what, "shorten the cycle, or raise longest_run if the sump allows")
        if window.seconds < SHORT_RUN_S:
            what = f"{window.seconds:.0f} s is short: filling the line takes a good part of it"
            yield source.fault(path, what, "give fewer and longer cycles")


def _hot_day(settings: Settings) -> Iterator[Fault]:
    if settings.file.hot_day is not None and not settings.file.sensing.thermometers:
        what = "no thermometer is written out under sensing: a hot day will not be noticed"
        yield settings.source.fault(
            ("hot_day",), what, "add `sensing: {thermometers: [{name: air, device: 28-...}]}`"
        )


def _sunless(settings: Settings, today: date) -> Iterator[Fault]:
    """A window that hangs on the sun, at a place and time of year without it."""
    for n, section in enumerate(settings.file.plan):
        if section.fallback is not None:
            continue
        for moment in _moments(section):
            days = (today + timedelta(days=n) for n in range(0, 366, 3))
            day = next((d for d in days if sun_event(settings.plan.place, moment.event, d) is None), None)
            if day is not None:
                what = f"there is no {moment.event.value} here on {day}; a usual clock time stands in"
                yield settings.source.fault(("plan", n), what, 'add fallback: ["06:00", "20:00"]')
                break


def _moments(section: WindowSection) -> list[SunMoment]:
    moments: list[Moment] = [*(section.between or ()), *(section.at or ())]
    return [moment for moment in moments if isinstance(moment, SunMoment)]


def _probes(settings: Settings) -> Iterator[Fault]:
    """A dry mark under which plants already wilt; in coarse media they do while much water is left."""
    wilting = max(100 * pot.wilting_l / pot.capacity_l for pot in settings.figures.pots)
    for n, probe in enumerate(settings.file.sensing.probes):
        if probe.dry_below < wilting:
            what = f"{probe.name} calls dry below {probe.dry_below:g} %, and plants here wilt below {wilting:.0f} %"
            yield settings.source.fault(("sensing", "probes", n), what, "write a higher dry_below")


def _water(settings: Settings, today: date) -> Iterator[Fault]:
    """Crops whose solutions do not meet, a sump that does not last, gaps that dry the media: over the next year."""
    file, figures, source = settings.file, settings.figures, settings.source
    crops = crops_of(figures.pots)
    for n, section in enumerate(file.crops):
        if section.name not in {crop.name for crop in crops}:
            yield source.fault(("crops", n), f"no pot grows '{section.name}'", "add `crop:` to its pots")
    for n, section in enumerate(file.crops):
        over_on = next((crop.over_on for crop in crops if crop.name == section.name), None)
        if over_on is not None and over_on <= today:
            what = f"the stages of '{section.name}' ended on {over_on}; since then it counts as at their end"
            yield source.fault(("crops", n, "stages"), what, "write longer stages, or what grows there now")
    if ec_range(crops) is None:
        yield source.fault(("crops",), "the crops' EC ranges do not meet", "give them beds of their own")
    if not crops or (file.weather is not None and file.weather.csv is not None):
        return
    days = [today + timedelta(days=n) for n in range(DAYS_OF_YEAR)]
    yield from _sump(settings, days)
    yield from _gaps(settings, days)


def _sump(settings: Settings, days: list[date]) -> Iterator[Fault]:
    """A sump that does not last through the day of most drink."""
    book, away_days = settings.book, settings.file.away_days
    hot = max(days, key=book.drink_l)
    usable_l = settings.figures.sump_full_l - settings.figures.sump_low_l
    least_l = settings.figures.dip_l(book.longest_run_s) + book.loss_l(hot)
    if usable_l < least_l:
        what = f"between its marks the sump holds {usable_l:.0f} L, and a run and {hot} take {least_l:.0f} L"
        yield settings.source.fault(("layout", "sump"), what, "a larger sump, or shorter runs")
    morning = datetime.combine(hot, time(), ZoneInfo(settings.plan.place.timezone))
    left = outlook(book, full(book), morning).days_left(morning)
    if left is not None and left < away_days:
        what = f"around {hot} a full sump lasts {left:.1f} days, less than away_days ({away_days})"
        yield settings.source.fault(("away_days",), what, "a larger sump, a header tank, or refill sooner")


def _gaps(settings: Settings, days: list[date]) -> Iterator[Fault]:
    """The pot that lasts the shortest on its own thirstiest day, if the plan's gap is longer."""
    pots, drinks_l = settings.figures.pots, settings.book.drinks_l
    assert drinks_l is not None
    most = [
        max((drink_l, day) for drink_l, day in zip(of_pot, days, strict=True))
        for of_pot in zip(*map(drinks_l, days), strict=True)
    ]
    lasts = [
        (safe_gap_h(pot, drink_l), n, day) for n, (pot, (drink_l, day)) in enumerate(zip(pots, most, strict=True))
    ]
    safe_h, _, hot = min(lasts)
    gap_h = daytime_gap_s(settings.plan, hot) / 3600
    if gap_h > safe_h:
        who = named(pots, [n for n, (hours, _, _) in enumerate(lasts) if hours < gap_h])
        what = f"around {hot} the longest gap by day is {gap_h:.1f} h, and {who} last {safe_h:.1f} h"
        yield settings.source.fault(("plan",), what, "plan more cycles; see `waaler budget`")


def _messages(settings: Settings) -> Iterator[Fault]:
    mqtt = settings.file.mqtt
    if mqtt is not None and mqtt.plain is not None and mqtt.ca_file is None:
        what = "the broker's password travels without TLS: everybody on the way can read it"
        yield settings.source.fault(("mqtt", "plain"), what, "add ca_file: and leave this out")


def _wiring(settings: Settings) -> Iterator[Fault]:
    file, source = settings.file, settings.source
    if file.pump.supply == "mains":
        yield source.fault(("pump", "supply"), "a mains pump", CAUTION_MAINS)
    if file.pins is None:
        what = "no pins are written out: this file can be rehearsed, not run on a Pi"
        yield source.fault((), what, "add `pins:` as in `waaler example`")
        return
    yield from pin_warnings(file, source)
    yield from _relays(file.pins, source)
    if file.not_commissioned is not None:
        what = "the bed may water before its floats were seen in both states: every status will say so"
        yield source.fault(("not_commissioned",), what, "walk through `waaler commission` and leave this out")
    for key, name in (("no_sump_float", "sump_low"), ("no_tray_float", "tray_high")):
        if getattr(file, key) is not None and getattr(file.pins, name) == "none":
            yield source.fault((key,), f"{name} is not fitted: every status will say so", "fit the float")


def _relays(pins: PinsSection, source: Source) -> Iterator[Fault]:
    """What would let a welded relay go unseen."""
    if pins.supply_sensed is None:
        what = "no input reads the pump's supply behind the last contact: a welded relay can't be seen"
        if pins.flow_meter is not None:
            what = "no input reads the pump's supply: a welded relay is seen only once water moves"
        yield source.fault(("pins", "relay"), what, "see hardware/wiring.md")
    if pins.cutoff_relay is not None and pins.supply_sensed is None and pins.flow_meter is None:
        what = "with neither supply_sensed nor a flow_meter nobody can tell whether each relay cuts alone"
        yield source.fault(("pins", "cutoff_relay"), what, "see hardware/wiring.md")


def _window_path(settings: Settings, cycle: Cycle) -> Path:
    names = [window.name for window in settings.plan.windows]
    return ("plan", names.index(cycle.key.window)) if cycle.key.window in names else ("plan",)
