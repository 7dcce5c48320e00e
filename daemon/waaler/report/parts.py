"""The parts that report and page are put together from: figures with their captions, and tables."""

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, time, timedelta

from waaler.core.alert import AlertKind
from waaler.core.facts import Outcome
from waaler.plan.sensing import AdviserKind
from waaler.plan.sun import sun_event
from waaler.plan.timetable import cycles_of_day
from waaler.plan.types import SunEvent
from waaler.records.rows import RunRow
from waaler.records.times import local
from waaler.report.bed import Bed
from waaler.report.charts import (
    Bar,
    Entry,
    Line,
    Look,
    Mark,
    Span,
    band_chart,
    bars,
    day_strip,
    dots_chart,
    level_chart,
)  # fmt: skip
from waaler.report.markup import Markup, join, tag
from waaler.report.period import POTS, Period
from waaler.report.sump import Refill
from waaler.report.words import Event, clock, day_and_clock, length, outcome_words, why

__all__ = [
    "day_figure", "day_span", "events_table", "measured_figures", "minutes_figure", "moisture_figure",
    "sensors_table", "sump_figure", "table",
]  # fmt: skip

LOOKS = {
    Outcome.DONE: Look.RAN,
    Outcome.SKIPPED: Look.LEFT_OUT,
    Outcome.REFUSED: Look.REFUSED,
    Outcome.MISSED: Look.REFUSED,
    Outcome.TAKEN_AWAY: Look.LEFT_OUT,
}
KEY = (
    ("planned", Look.PLANNED), ("ran", Look.RAN), ("cut short", Look.SHORT), ("skipped", Look.LEFT_OUT),
    ("refused or missed", Look.REFUSED),
)  # fmt: skip
MOST_EVENTS = 120
"""Rows of a table that a person still reads; a worse period says how many more there are."""


def figure(name: str, told: object, drawing: Markup, *more: object) -> Markup:
    return tag("figure", tag("figcaption", tag("strong", name), " ", told), drawing, *more)


def table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[object]], numbers: int = 0) -> Markup:
    """The last `numbers` columns are figures; one headed When does not break its lines where there is room."""
    plain = len(heads) - numbers
    classes = ["when" if h == "When" else "number" if n >= plain else None for n, h in enumerate(heads)]
    head = tag("tr", [tag("th", h, scope="col", class_=k) for h, k in zip(heads, classes, strict=True)])
    body = [tag("tr", [tag("td", c, class_=k) for c, k in zip(row, classes, strict=True)]) for row in rows]
    whole = tag("table", tag("caption", caption), tag("thead", head), tag("tbody", body))
    return tag("div", whole, class_="scroll", tabindex=0, role="region", aria_label=caption)


# --- a day --------------------------------------------------------------------------------------


def day_span(bed: Bed, day: date) -> Span:
    begin, end = (datetime.combine(d, time(), bed.zone).timestamp() for d in (day, day + timedelta(days=1)))
    return Span(begin, end, bed.zone)


def day_figure(bed: Bed, day: date, runs: Sequence[RunRow], now_s: float, name: str | None = None) -> Markup:
    """A day's plan and what became of it. runs: any; those of other days are left out."""
    span = day_span(bed, day)
    planned = [
        Entry(c.start.timestamp(), c.seconds, Look.PLANNED, f"{clock(c.start.timestamp(), bed.zone)} planned,"
              f" {length(c.seconds)} ({c.key.window})")
        for d in (day - timedelta(days=1), day) for c in cycles_of_day(bed.plan, d)
    ]  # fmt: skip
    planned = [entry for entry in planned if span.begin_s <= entry.at_s < span.end_s]
    done = [_entry(bed, run) for run in runs if span.begin_s <= run.when_s < span.end_s]
    sun = [sun_event(bed.plan.place, event, day) for event in (SunEvent.SUNRISE, SunEvent.SUNSET)]
    moments = [event.timestamp() for event in sun if event is not None]
    drawing = day_strip(span, [*planned, *done], (moments[0], moments[1]) if len(moments) == 2 else None, now_s)
    told = f"{length(sum(e.seconds for e in planned))} planned in {_count(len(planned), 'cycle')}"
    return figure(name or f"{day:%A %-d %B %Y}", told, drawing, _key())


def _entry(bed: Bed, run: RunRow) -> Entry:
    if run.outcome is None:
        look, seconds = Look.RAN, run.granted_s or run.asked_s
    elif run.outcome is Outcome.SKIPPED:
        look, seconds = Look.LEFT_OUT, run.planned_s
    else:
        look = LOOKS.get(run.outcome, Look.SHORT if run.actual_s > 0 else Look.REFUSED)
        seconds = run.actual_s
    return Entry(run.when_s, seconds, look, f"{clock(run.when_s, bed.zone)} {outcome_words(run)}, {why(run)}")


def _key() -> Markup:
    return tag("div", [tag("span", _swatch(look), name) for name, look in KEY], class_="key")


def _swatch(look: Look) -> Markup:
    if look is Look.REFUSED:
        inner = tag("path", d="M1,1 L11,13 M11,1 L1,13", class_="cross")
    else:
        bar = tag("rect", x=0, y=5, width=12, height=4, class_="bar") if look is Look.SHORT else None
        inner = tag("g", tag("rect", x=3, y=1, width=6, height=12), bar, class_=look.value)
    return tag("svg", inner, width=12, height=14, aria_hidden="true")


# --- a period -----------------------------------------------------------------------------------


def minutes_figure(period: Period) -> Markup:
    """Run minutes of every day, what was skipped hatched on top."""
    skipped: dict[date, float] = {}
    for run in period.history.runs:
        if run.outcome is Outcome.SKIPPED:
            day = _day(period, run.when_s)
            skipped[day] = skipped.get(day, 0.0) + run.planned_s
    totals = {total.day: total for total in period.history.totals}
    days = []
    for wall_s in period.span.midnights():
        if wall_s < period.span.end_s:
            day = _day(period, wall_s)
            ran_s = totals[day].pump_s if day in totals else 0.0
            words = f"{day:%a %-d %b}: ran {length(ran_s)}, skipped {length(skipped.get(day, 0.0))}"
            days.append(Bar(wall_s, ran_s / 60, skipped.get(day, 0.0) / 60, words))
    litres = period.pump_s / 60 * period.bed.figures.pump_l_per_min
    told = f"{length(period.pump_s)} in all, about {litres:.0f} L lifted; skipped cycles hatched"
    return figure("Run minutes a day", told, bars("Run minutes a day", period.span, days))


def moisture_figure(period: Period) -> Markup:
    points = period.moisture()
    if not points:
        return figure("Moisture", "no probe gave a reading in this period", Markup(""))
    probes = len({row.name for row in period.moist})
    told = f"wettest, median and driest of {probes} probes" if probes > 1 else "of the one probe: least, mean, most"
    if period.knows_pots:
        told = f"wettest, median and driest of all {len(period.bed.figures.pots)} pots"
    advisers = [a for a in period.bed.sensing.advisers if a.kind is AdviserKind.MOISTURE]
    limits = [Line(min(a.dry_below for a in advisers), "dry below")] if advisers else []
    limits += [Line(max(a.wet_above for a in advisers), "wet above")] if advisers else []
    title = "Moisture, percent of what drained media hold"
    return figure("Moisture", told, band_chart(title, "%", period.span, points, period.step_s, limits))


def sump_figure(period: Period) -> Markup:
    sump, bed = period.sump, period.bed
    if not sump.points:
        return figure("Sump", "nothing is known of its level yet", Markup(""))
    limits = [Line(bed.figures.sump_low_l, "low mark")]
    marks = [Mark(refill.at_s, refill.short, _refill_words(period, refill)) for refill in sump.refills]
    how = "expected, not measured" if sump.is_expected else "as measured"
    drawing = level_chart("Level of the sump", "L", period.span, sump.points, limits, marks, sump.is_expected)
    return figure("Sump", f"level {how}, with refills", drawing)


def _refill_words(period: Period, refill: Refill) -> str:
    return f"{day_and_clock(refill.at_s, period.span.zone)}: {refill.words}"


def measured_figures(period: Period) -> list[Markup]:
    """EC, pH and temperature of the solution, where somebody measured them."""
    ranges = {one.name: one for one in period.bed.sensing.ranges}
    found = []
    for name in ("EC", "pH", "temperature"):
        points = period.measured(name)
        if points:
            unit, limit = points[-1][2], ranges.get(name)
            limits = [] if limit is None else [Line(limit.lowest, "lowest"), Line(limit.highest, "highest")]
            drawing = dots_chart(name, unit, period.span, [(at_s, value) for at_s, value, _ in points], limits)
            title = f"{name} of the solution" + (" at 25 C" if name == "EC" else "")
            found.append(figure(title, f"last {points[-1][1]:g} {unit}".strip(), drawing))
    return found


def events_table(
    period: Period, told: Sequence[Event], link: Callable[[int], str] | None = None, most: int = MOST_EVENTS
) -> Markup:
    """link: gives the address of a run's own page."""
    if not told:
        return tag("p", "Nothing out of the ordinary.")
    rows = [(day_and_clock(event.at_s, period.span.zone), _what(event, link), event.why) for event in told[:most]]
    left = len(told) - len(rows)
    more = tag("p", f"And {left} earlier ones: `waaler history` tells all.", class_="soft") if left > 0 else None
    return join(table("What was out of the ordinary, the latest first", ("When", "What", "Why"), rows), more)


def _what(event: Event, link: Callable[[int], str] | None) -> object:
    if event.run_id is None or link is None:
        return event.what
    return tag("a", event.what, href=link(event.run_id))


def sensors_table(period: Period) -> Markup:
    """How much of the time each sensor gave readings."""
    if not period.coverage:
        return tag("p", "No sensor gave a reading in this period.")
    zone = period.span.zone
    begin_s = min((row.at_s for row in period.samples), default=period.span.begin_s)
    whole_min = max(1.0, (min(period.now_s, period.span.end_s) - max(begin_s, period.span.begin_s)) / 60)
    troubles = [alert.kind for alert in period.history.alerts]
    rows = []
    for row in (row for row in period.coverage if row.name not in POTS):
        unit = "" if row.unit == "1" else f" {row.unit}"
        times = troubles.count(AlertKind.NOT_VALID.of(row.name))
        rows.append((
            row.name,
            day_and_clock(row.at_s, zone),
            "never" if times == 0 else "once" if times == 1 else f"{times} times",
            f"{100 * min(1.0, row.minutes / whole_min):.0f} %",
            f"{row.least:.3g} to {row.most:.3g}{unit}",
        ))  # fmt: skip
    heads = ("Sensor", "Last reading", "Not valid", "Of the time", "Range")
    return table("Sensors: for how much of the time since the first reading they gave any", heads, rows, numbers=2)


def _day(period: Period, wall_s: float) -> date:
    return local(wall_s, period.span.zone).date()


def _count(n: int, what: str) -> str:
    return f"1 {what}" if n == 1 else f"{n} {what}s"
