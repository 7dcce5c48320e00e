"""What all charts share: the span of time across, the scale upwards, and their grid and words.

The labels of the upward scale stand inside, on their grid lines, so that nothing but per cent is needed across.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from math import ceil, floor, log10
from zoneinfo import ZoneInfo

from waaler.records.times import local
from waaler.report.markup import Markup, join, tag

__all__ = [
    "PATTERNS",
    "Scale",
    "Span",
    "chart",
    "grid",
    "path_box",
    "percent",
    "polyline",
    "tick_words",
    "time_axis",
]

FOOT = 18
HEAD = 14
MOST_LABELS = 5
WIDE = 1000
"""Units across in the stretched box of a curve."""

PATTERNS = tag(
    "svg",
    tag(
        "defs",
        tag(
            "pattern",
            tag("path", d="M-1,1 l2,-2 M0,6 l6,-6 M5,7 l2,-2", class_="ink-line"),
            id="hatch",
            width=6,
            height=6,
            patternUnits="userSpaceOnUse",
        ),
    ),
    width=0,
    height=0,
    class_="patterns",
    aria_hidden="true",
)
"""Once on every page with charts."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of wall time in the bed's zone, seconds since 1970 UTC."""

    begin_s: float
    end_s: float
    zone: ZoneInfo

    def share(self, wall_s: float) -> float:
        """0 at the beginning to 1 at the end; outside of it the nearer of both."""
        return min(1.0, max(0.0, (wall_s - self.begin_s) / (self.end_s - self.begin_s)))

    def holds(self, wall_s: float) -> bool:
        return self.begin_s <= wall_s <= self.end_s

    def midnights(self) -> list[float]:
        """Local midnights within, both ends included."""
        day = local(self.begin_s, self.zone).date()
        found = []
        while (wall_s := datetime.combine(day, time(), self.zone).timestamp()) <= self.end_s:
            if wall_s >= self.begin_s:
                found.append(wall_s)
            day += timedelta(days=1)
        return found


@dataclass(frozen=True, slots=True)
class Scale:
    """Values upwards between two pixels; `ticks` are round."""

    least: float
    most: float
    top: float
    bottom: float
    ticks: tuple[float, ...]

    @classmethod
    def of(cls, values: Sequence[float], height: float, base: float | None = None) -> "Scale":
        """Round ends that hold all values, and `base` if there is one."""
        wanted = [*values, *([] if base is None else [base])] or [0.0, 1.0]
        low, high = min(wanted), max(wanted)
        if high - low < 1e-9:
            low, high = (low, low + 1.0) if base is not None else (low - 0.5, low + 0.5)
        step = _round_step((high - low) / 3)
        first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
        ticks = tuple(round(n * step, 10) for n in range(first, last + 1))
        return cls(ticks[0], ticks[-1], HEAD, height - FOOT, ticks)

    def y(self, value: float) -> float:
        share = (value - self.least) / (self.most - self.least)
        return self.bottom - min(1.0, max(0.0, share)) * (self.bottom - self.top)


def _round_step(rough: float) -> float:
    power = 10.0 ** floor(log10(rough))
    return next(power * nice for nice in (1, 2, 2.5, 5, 10) if power * nice >= rough - 1e-12)


def percent(share: float) -> str:
    return f"{100 * share:.2f}".rstrip("0").rstrip(".") + "%"


def chart(label: str, height: int, *parts: object, class_: str = "") -> Markup:
    """label: what a screen reader says in its place."""
    return tag(
        "svg",
        tag("title", label),
        *parts,
        width="100%",
        height=height,
        role="img",
        aria_label=label,
        class_=f"chart {class_}".strip(),
        xmlns="http://www.w3.org/2000/svg",
    )


def grid(scale: Scale) -> Markup:
    """A line at every tick; drawn before the data."""
    return join([tag("line", x1=0, x2="100%", y1=scale.y(t), y2=scale.y(t), class_="grid") for t in scale.ticks])


def tick_words(scale: Scale, unit: str) -> Markup:
    """The ticks' values, the unit at the topmost; drawn after the data, so that nothing hides them."""
    words = [(tick, f"{tick:g}") for tick in scale.ticks[:-1] if tick != 0]
    words.append((scale.ticks[-1], f"{scale.ticks[-1]:g} {unit}".rstrip()))
    return join([tag("text", text, x=0, y=scale.y(tick) - 3, class_="tick") for tick, text in words])


def time_axis(span: Span, height: float) -> Markup:
    """Hours for up to two days, else days; never more labels than a phone has room for."""
    marks = list(_hours(span)) if span.end_s - span.begin_s <= 2.1 * 86_400 else list(_days(span))
    y = height - FOOT
    parts = [tag("line", x1=0, x2="100%", y1=y, y2=y, class_="axis")]
    for share, text in marks:
        anchor = "start" if share < 0.03 else "end" if share > 0.97 else "middle"
        x = percent(share)
        parts.append(tag("line", x1=x, x2=x, y1=y, y2=y + 4, class_="axis"))
        parts.append(tag("text", text, x=x, y=height - 3, text_anchor=anchor, class_="tick"))
    return join(parts)


def _hours(span: Span) -> Iterator[tuple[float, str]]:
    """By the wall clock, so that a day on which it is changed is labelled as it was lived."""
    midnights = span.midnights()
    for begin_s in midnights:
        day = local(begin_s, span.zone).date()
        for hour in (0, 6, 12, 18):
            wall_s = datetime.combine(day, time(hour), span.zone).timestamp()
            if span.begin_s <= wall_s < span.end_s:
                yield span.share(wall_s), f"{hour:02}:00"
    if midnights[-1:] == [span.end_s]:
        yield 1.0, "24:00"


def _days(span: Span) -> Iterator[tuple[float, str]]:
    """The days' middles where each has room for its label, else the midnights at which they begin."""
    midnights = [wall_s for wall_s in span.midnights() if wall_s < span.end_s]
    every = max(1, ceil(len(midnights) / MOST_LABELS))
    for n, wall_s in enumerate(midnights):
        if n % every == 0:
            yield span.share(wall_s), f"{local(wall_s, span.zone):%-d %b}"


def path_box(height: float, *parts: object) -> Markup:
    """A box that is stretched across: for curves, whose strokes keep their width."""
    return tag(
        "svg", *parts, x=0, y=0, width="100%", height=height, viewBox=f"0 0 {WIDE} {height:g}",
        preserveAspectRatio="none",
    )  # fmt: skip


def polyline(points: Sequence[tuple[float, float]]) -> str:
    """Path data of (share across, pixel down)."""
    return "M" + "L".join(f"{WIDE * share:.1f},{y:.1f}" for share, y in points)
