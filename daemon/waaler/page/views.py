"""The pages themselves: now and today, fourteen days, the history, and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from waaler.core.facts import Outcome, Severity
from waaler.page.beds import Shown
from waaler.page.frame import Links, whole
from waaler.page.now import Now, read_now
from waaler.records.reader import Reader
from waaler.records.rows import AlertRow, RunRow
from waaler.records.schema import StoreError
from waaler.records.times import local
from waaler.report.bed import Bed
from waaler.report.history import unread_words
from waaler.report.markup import Markup, join, tag
from waaler.report.parts import (
    day_figure,
    day_span,
    events_table,
    measured_figures,
    minutes_figure,
    moisture_figure,
    sensors_table,
    sump_figure,
    table,
)  # fmt: skip
from waaler.report.period import read_period
from waaler.report.state import Told
from waaler.report.why import why_of
from waaler.report.words import clock, day_and_clock, events, length, outcome_words, verdict, why

__all__ = ["ROWS", "Chosen", "bed_page", "history_page", "home_page", "run_page"]

DAYS = 14
ROWS = 50
MOST_EVENTS = 40


@dataclass(frozen=True, slots=True)
class Chosen:
    """What of the history is asked for; number: of the page, from 1."""

    since: date
    until: date
    outcome: Outcome | None = None
    number: int = 1

    def span(self, bed: Bed) -> tuple[float, float]:
        begin, end = (datetime.combine(d, time(), bed.zone) for d in (self.since, self.until + timedelta(days=1)))
        return begin.timestamp(), end.timestamp()


def home_page(beds: Sequence[Shown], now_s: float) -> str:
    """All beds; a single one at once in full."""
    if len(beds) == 1:
        return bed_page(beds[0], now_s, "", 1)
    links = Links("")
    parts = [
        tag("section", tag("h2", tag("a", s.bed.title, href=links.bed(s.bed.id))), _one_of_many(s, links, now_s))
        for s in beds
    ]
    told = f"Told {day_and_clock(now_s, beds[0].bed.zone)}." if beds else ""
    return whole("All beds", links, [], told, tag("div", parts, id="live", data_from="./"))


def _one_of_many(shown: Shown, links: Links, now_s: float) -> Markup:
    """Whatever is wrong with one bed's records, the others are shown."""
    try:
        return _now(shown, links, now_s)
    except Exception as problem:
        return tag("p", f"This bed cannot be shown ({type(problem).__name__}).", class_="alarm")


def bed_page(shown: Shown, now_s: float, path: str, count: int) -> str:
    """path: its address within the site; count: of beds on it."""
    bed, links = shown.bed, Links(path)
    way = [("All beds", links.to(""))] if count > 1 else []
    way.append(("History", links.history(bed.id)))
    live = tag("div", _now(shown, links, now_s), id="live", data_from="./")
    return whole(bed.title, links, way, _told(bed, now_s), live, _fortnight(shown, links, now_s))


def history_page(shown: Shown, chosen: Chosen, now_s: float, count: int) -> str:
    bed, links = shown.bed, Links(f"bed/{shown.bed.id}/history")
    with Reader(shown.records) as reader:
        since_s, until_s = chosen.span(bed)
        rows = reader.newest_runs(since_s, until_s, chosen.outcome, ROWS + 1, ROWS * (chosen.number - 1))
        unread = reader.unread
    heads = ("When", "What", "Why", "Ran")
    told = f"Runs, skips and refusals, {chosen.since:%-d %b %Y} to {chosen.until:%-d %b %Y}, the latest first"
    found = table(told, heads, [_run_row(bed, links, run) for run in rows[:ROWS]], numbers=1)
    return whole(
        f"History: {bed.title}",
        links,
        [*_home(links, bed, count), ("As CSV for a spreadsheet", _query(chosen, "history.csv"))],
        _told(bed, now_s),
        _filter(chosen),
        _left_out(unread),
        found if rows else tag("p", "Nothing ran, and nothing was due, in this period."),
        _pages(chosen, len(rows) > ROWS),
    )


def run_page(shown: Shown, run_id: int, now_s: float, count: int) -> str | None:
    """None if there is no such run."""
    bed, links = shown.bed, Links(f"bed/{shown.bed.id}/run/{run_id}")
    with Reader(shown.records) as reader:
        run = reader.run(run_id)
        if run is None:
            return None
        facts = why_of(reader, run, bed.zone)
    rows = [tag("tr", tag("th", fact.name, scope="row"), tag("td", fact.text)) for fact in facts]
    title = f"Why? Run {run_id} of {bed.title}"
    way = [*_home(links, bed, count), ("History", links.history(bed.id))]
    day = local(run.when_s, bed.zone).date()
    with Reader(shown.records) as reader:
        span = day_span(bed, day)
        runs = reader.runs(span.begin_s, span.end_s)
    known = tag("table", tag("caption", "All that is known of it"), tag("tbody", rows))
    return whole(
        title, links, way, _told(bed, now_s), known, tag("h2", "Its day"), day_figure(bed, day, runs, now_s)
    )


# --- now ----------------------------------------------------------------------------------------


def _now(shown: Shown, links: Links, now_s: float) -> Markup:
    bed = shown.bed
    try:
        with Reader(shown.records) as reader:
            now = read_now(reader, bed, now_s)
            day = local(now_s, bed.zone).date()
            span = day_span(bed, day)
            runs = reader.runs(span.begin_s, span.end_s)
            unread = reader.unread
    except StoreError as problem:
        return tag("p", str(problem), class_="alarm")
    return join(
        _left_out(unread),
        None if shown.problem is None else tag("p", "The file has a fault, the last accepted one is shown: ",
                                               shown.problem.splitlines()[0], class_="alarm"),
        _verdict(now.told),
        _alerts(now),
        _figures(bed, now),
        day_figure(bed, day, runs, now_s, f"Today, {day:%A %-d %B}"),
        tag("ul", [_today(bed, links, run) for run in runs], class_="today") if runs else None,
    )  # fmt: skip


def _verdict(told: Told) -> Markup:
    kind, more = "verdict alarm" if told.is_alarm else "verdict", f", {told.detail}" if told.detail else None
    return tag("p", tag("strong", told.state), more, class_=kind, role="status")


def _left_out(unread: int) -> Markup | None:
    return tag("p", f"{unread_words(unread)}.", class_="alarm") if unread else None


def _alerts(now: Now) -> Markup | None:
    if not now.alerts:
        return None
    order = list(Severity)
    rows = sorted(now.alerts, key=lambda alert: (order.index(alert.severity), -alert.raised_at_s))
    items = [
        tag("li", tag("strong", f"{alert.severity.value}: "), _lines(alert),
            class_="note" if alert.severity is Severity.NOTE else "alarm")
        for alert in rows
    ]  # fmt: skip
    return tag("ul", items, class_="alarms", aria_label="Alerts that stand")


def _lines(alert: AlertRow) -> list[object]:
    """One line for each thing to know, and who took it on."""
    taken = [] if alert.acknowledged_by is None else [f"Acknowledged by {alert.acknowledged_by}."]
    first, *others = [*(alert.text.splitlines() or ["(no words)"]), *taken]
    return [first, *(part for line in others for part in (tag("br"), line))]


def _figures(bed: Bed, now: Now) -> Markup:
    cells = [_cell("next run", now.next_at, now.next_why), _cell("sump", *_sump(now))]
    if now.last_run is not None and now.last_run.ended_at_s is not None:
        ran = f"{length(now.last_run.actual_s)}, {now.last_run.cause.value}"
        cells.append(_cell("last full run", day_and_clock(now.last_run.ended_at_s, bed.zone), ran))
    for row in now.readings:
        if (row.name, row.unit) != ("sump", "L"):
            value = ("wet" if row.mean >= 0.5 else "dry") if row.unit == "1" else f"{row.mean:.3g} {row.unit}"
            cells.append(_cell(row.name.replace("_", " "), value, f"at {clock(row.at_s, bed.zone)}"))
    if now.measured is not None:
        due = "; perlite has no buffer, pH is read weekly" if now.is_ph_due else ""
        cells.append(_cell("solution", now.measured.text, f"{day_and_clock(now.measured.at_s, bed.zone)}{due}"))
    return tag("dl", cells, class_="now")


def _sump(now: Now) -> tuple[str, str]:
    level, days = now.sump.now_l, now.sump.days_left
    if level is None:
        return "not known", "enter a refill to the full mark"
    how = "expected, not measured" if now.sump.is_expected else "measured"
    left = "lasts beyond 60 days" if days is None else f"{days:.1f} days until it needs water"
    return f"{level:.0f} L", f"{left}; {how}"


def _cell(name: str, value: str, more: str) -> Markup:
    return tag("div", tag("dt", name), tag("dd", value, tag("small", more) if more else None))


def _today(bed: Bed, links: Links, run: RunRow) -> Markup:
    words = f"{clock(run.when_s, bed.zone)} {outcome_words(run)}"
    link = tag("a", "why?", href=links.run(bed.id, run.run_id), aria_label=f"why? {words}")
    return tag("li", words, " ", link)


# --- fourteen days ------------------------------------------------------------------------------


def _fortnight(shown: Shown, links: Links, now_s: float) -> Markup:
    bed = shown.bed
    today = local(now_s, bed.zone).date()
    since_s, until_s = Chosen(today - timedelta(days=DAYS - 1), today).span(bed)
    try:
        with Reader(shown.records) as reader:
            period = read_period(reader, bed, since_s, until_s, now_s)
    except StoreError:
        return Markup("")
    return join(
        tag("h2", "The last 14 days"),
        tag("p", verdict(period)),
        tag("div", minutes_figure(period), moisture_figure(period), sump_figure(period), *measured_figures(period),
            class_="pair"),
        tag("h2", "What was out of the ordinary"),
        events_table(period, events(period), lambda run_id: links.run(bed.id, run_id), MOST_EVENTS),
        tag("h2", "Sensors"),
        sensors_table(period),
    )  # fmt: skip


# --- history ------------------------------------------------------------------------------------


def _run_row(bed: Bed, links: Links, run: RunRow) -> tuple[object, ...]:
    words = f"{run.cause.value}, {outcome_words(run)}"
    when = day_and_clock(run.when_s, bed.zone)
    link = tag("a", "why?", href=links.run(bed.id, run.run_id), aria_label=f"why? {when} {words}")
    return when, words, join(why(run), " ", link), length(run.actual_s) if run.actual_s > 0 else "-"


def _filter(chosen: Chosen) -> Markup:
    options = [tag("option", "all", value="", selected=chosen.outcome is None)]
    options += [tag("option", o.value, value=o.value, selected=o is chosen.outcome) for o in Outcome]
    return tag(
        "form",
        tag("p", tag("label", "from", for_="since"),
            tag("input", type="date", id="since", name="since", value=chosen.since.isoformat())),
        tag("p", tag("label", "to", for_="until"),
            tag("input", type="date", id="until", name="until", value=chosen.until.isoformat())),
        tag("p", tag("label", "ended", for_="outcome"), tag("select", options, id="outcome", name="outcome")),
        tag("p", tag("button", "Show", type="submit")),
        method="get", action="history",
    )  # fmt: skip


def _pages(chosen: Chosen, has_more: bool) -> Markup | None:
    found = []
    if chosen.number > 1:
        found.append(tag("li", tag("a", "Later runs", href=_query(chosen, "history", chosen.number - 1))))
    if has_more:
        found.append(tag("li", tag("a", "Earlier runs", href=_query(chosen, "history", chosen.number + 1))))
    return tag("nav", tag("ul", found), aria_label="Pages of the history") if found else None


def _query(chosen: Chosen, to: str, number: int = 1) -> str:
    outcome = "" if chosen.outcome is None else f"&outcome={chosen.outcome.value.replace(' ', '+')}"
    page = f"&page={number}" if number > 1 else ""
    return f"{to}?since={chosen.since}&until={chosen.until}{outcome}{page}"


def _home(links: Links, bed: Bed, count: int) -> list[tuple[str, str]]:
    way = [("All beds", links.to(""))] if count > 1 else []
    return [*way, ("Now", links.bed(bed.id))]


def _told(bed: Bed, now_s: float) -> str:
    return f"Told {day_and_clock(now_s, bed.zone)}, {bed.plan.place.timezone}."
