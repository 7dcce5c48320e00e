"""One self-contained HTML page that compares plans: a plot, a table, and the least that keeps the bed."""

from collections.abc import Sequence
from dataclasses import dataclass

from waaler.report.bed import Bed
from waaler.report.charts.dots import Dot, scatter
from waaler.report.charts.lines import Line
from waaler.report.markup import Markup, tag
from waaler.report.parts import figure, table
from waaler.report.whole_page import whole_page

__all__ = ["Try", "page_of_tries"]

CAPTION = "Driest: the driest pot. Lifted: litres a day. Low: when the sump is. Trips: runs that were cut"
MOST_NAMES = 24
"""More dots than this go without their numbers: they would lie over each other."""


@dataclass(frozen=True, slots=True)
class Try:
    """changes: what was written instead, in words. low: when the sump is. is_sound: nothing wilted or tripped."""

    changes: str
    driest_percent: float
    wilted_h: float
    lifted_l_per_day: float
    low: str
    trips: int
    is_sound: bool


def page_of_tries(bed: Bed, told: str, period: str, tries: Sequence[Try]) -> str:
    """told: the verdict in a sentence. period: the days that each was played. tries: the best first."""
    wilting = max(100 * pot.wilting_l / pot.capacity_l for pot in bed.figures.pots)
    rows = [_row(n, one) for n, one in enumerate(tries, start=1)]
    heads = ("No", "With", "Driest", "Wilted", "Lifted", "Low", "Trips")
    return whole_page(
        f"{bed.title}: plans",
        tag("header", tag("h1", bed.title), tag("p", f"{bed.id}, {period}", class_="soft")),
        tag(
            "main",
            tag("p", told, class_="verdict" if tries[0].is_sound else "verdict alarm"),
            tag("section", tag("h2", "Water lifted, and how dry the driest pot became"), _plot(tries, wilting)),
            tag("section", tag("h2", "All of them, the best first"), table(CAPTION, heads, rows, numbers=5)),
        ),
    )


def _row(number: int, one: Try) -> tuple[str, ...]:
    unbroken = one.changes.replace(" ", "\u00a0").replace(",\u00a0", ", ")
    driest, lifted = f"{one.driest_percent:.0f} %", f"{one.lifted_l_per_day:.0f}"
    return (str(number), unbroken, driest, f"{one.wilted_h:.0f} h", lifted, one.low, str(one.trips))


def _plot(tries: Sequence[Try], wilting: float) -> Markup:
    dots = [
        Dot(
            one.lifted_l_per_day,
            one.driest_percent,
            str(n) if len(tries) <= MOST_NAMES else "",
            one.is_sound,
            f"{n}: {one.changes}: driest {one.driest_percent:.0f} %, {one.lifted_l_per_day:.0f} L a day",
        )
        for n, one in enumerate(tries, start=1)
    ]
    title = "Driest pot in percent of what its media hold, over litres lifted a day"
    drawing = scatter(title, "a day", "L", "%", dots, [Line(wilting, "plants wilt below")])
    told = "a number for each row of the table; a ring where plants wilted, or more than a low sump cut a run"
    return figure("Driest pot", told, drawing)
