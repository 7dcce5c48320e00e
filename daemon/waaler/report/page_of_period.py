"""One self-contained HTML page that tells a period: for a phone, a desk and a printer."""

from collections.abc import Sequence
from datetime import date

from waaler.guard.messages import Trip
from waaler.records.times import local
from waaler.report.history import unread_words
from waaler.report.markup import Markup, tag
from waaler.report.parts import (
    day_figure,
    events_table,
    measured_figures,
    minutes_figure,
    moisture_figure,
    sensors_table,
    sump_figure,
    table,
)  # fmt: skip
from waaler.report.period import Period
from waaler.report.whole_page import whole_page
from waaler.report.words import day_and_clock, events, length, verdict

__all__ = ["assumptions", "page_of_period"]


def page_of_period(
    period: Period, told: str | None = None, is_alarm: bool = False, assumed: Sequence[str] = ()
) -> str:
    """The page as text.

    told: the verdict in a sentence, None for what the records say; is_alarm: whether it is a bad one. assumed: what
    a rehearsal takes for granted, besides what every report does.
    """
    bed, unread = period.bed, period.history.unread
    title = f"{bed.title}: {_dates(period)}"
    sentence = told or verdict(period)
    has_trouble = is_alarm or any(trip.over_at_s is None for trip in period.trips)
    return whole_page(
        title,
        tag("header", tag("h1", bed.title), tag("p", f"{bed.id}, {_dates(period)}", class_="soft")),
        tag(
            "main",
            tag("p", sentence, class_="verdict alarm" if has_trouble else "verdict"),
            tag("p", f"{unread_words(unread)}.", class_="alarm") if unread else None,
            _section("The plan of a day, and what became of it", *_day_figures(period)),
            _section(
                "The period",
                tag("div", minutes_figure(period), moisture_figure(period), sump_figure(period),
                    *measured_figures(period), class_="pair"),
            ),
            _section("Water", _water(period)),
            _section("What was out of the ordinary", events_table(period, events(period))),
            _section("Sensors", sensors_table(period), _spread(period)),
            _section(
                "What this takes for granted", tag("ul", [tag("li", a) for a in (*assumed, *assumptions(period))])
            ),
        ),
        tag("footer", tag("p", f"Told {day_and_clock(period.now_s, bed.zone)}, {bed.plan.place.timezone}.")),
    )  # fmt: skip


def assumptions(period: Period) -> list[str]:
    bed = period.bed
    told = [
        f"Litres lifted are run time at {bed.figures.pump_l_per_min:.3g} L/min, the file's figure for all outlets.",
        "What the plants drink is reckoned by the file's crops and weather, else by its figure.",
    ]
    if period.sump.is_expected:
        told.append(
            "The sump has no gauge: its level at rest falls by what plants and open water are expected to take,"
            " rises by each refill that was entered, and is set right by each reading and when the float read low"
            " at rest."
        )
    return told


def _section(name: str, *parts: object) -> Markup:
    return tag("section", tag("h2", name), *parts)


def _dates(period: Period) -> str:
    last_s = max(period.span.begin_s, min(period.now_s, period.span.end_s - 1))
    ends = (period.span.begin_s, last_s)
    first, last = (local(wall_s, period.span.zone) for wall_s in ends)
    return f"{first:%-d %B %Y}" if first.date() == last.date() else f"{first:%-d %B %Y} to {last:%-d %B %Y}"


def _day_figures(period: Period) -> list[Markup]:
    """The last day, and the day of the first trip if that was another."""
    last_s = min(period.now_s, period.span.end_s - 1)
    days = {_day(period, last_s): "The last day"}
    if period.trips:
        days.setdefault(_day(period, period.trips[0].began_at_s), "The day of the first trip")
    return [
        day_figure(period.bed, day, period.history.runs, period.now_s, f"{name}, {day:%A %-d %B}")
        for day, name in sorted(days.items())
    ]


def _day(period: Period, wall_s: float) -> date:
    return local(wall_s, period.span.zone).date()


def _water(period: Period) -> Markup:
    bed, sump = period.bed, period.sump
    lifted_l = period.pump_s / 60 * bed.figures.pump_l_per_min
    unknown = sum(refill.litres is None for refill in sump.refills)
    poured = f"{sump.refilled_l:.3g} L" + (f", and {unknown} refills without an amount" if unknown else "")
    drunk_l = bed.drink_l(period.span.begin_s, min(period.now_s, period.span.end_s))
    rows: list[tuple[str, str]] = [
        ("pump on", length(period.pump_s)),
        ("lifted, most of it runs back", f"{lifted_l:.0f} L"),
        ("the plants were expected to drink", f"{drunk_l:.0f} L"),
        (f"poured in, {len(sump.refills)} refills", poured),
    ]
    low, days_left = None if sump.outlook is None else sump.outlook.needs_water_at, sump.days_left
    if sump.now_l is not None and low is not None and days_left is not None:
        rows.append(("in the sump at the end", f"{sump.now_l:.0f} L, {days_left:.1f} days until it needs water"))
        is_in_tray = any(trip.trip is Trip.HIGH_TRAY and trip.over_at_s is None for trip in period.trips)
        due = "it is due" if days_left == 0 else f"{low:%A %-d %B}"
        rows.append(("refill before", "the water is in the tray: free the drain first" if is_in_tray else due))
    return table("Water of the period", ("What", "How much"), rows, numbers=1)


def _spread(period: Period) -> Markup | None:
    """How far the probes lie apart: the first sign of an outlet that clogs."""
    points = period.moisture()
    if period.knows_pots or len({row.name for row in period.moist}) < 2 or len(points) < 8:
        return None
    tenth = max(1, len(points) // 10)
    first, last = (sum(p.most - p.least for p in part) / len(part) for part in (points[:tenth], points[-tenth:]))
    return tag(
        "p",
        f"Wettest and driest probe lay {first:.0f} points apart at the beginning and {last:.0f} at the end."
        + (" They drift apart: look at the outlet of the driest pot." if last > first + 5 else ""),
    )
