"""A day from midnight to midnight: what was planned above the line, what was done below it, and the sun behind."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from waaler.records.times import local
from waaler.report.charts.frame import Span, chart, percent, time_axis
from waaler.report.markup import Markup, tag

__all__ = ["Entry", "Look", "day_strip"]

HEIGHT = 104
LINE_Y = 46
PLAN_Y, PLAN_H = 24, 18
RUN_Y, RUN_H = 50, 24
LEAST_WIDTH = 5
"""Pixels: two minutes of a day would be half of one on a phone."""


class Look(Enum):
    """How an entry is drawn: by shape and filling first, by colour only besides."""

    PLANNED = "planned"
    """An open box above the line."""
    RAN = "ran"
    """A full box below it."""
    SHORT = "short"
    """A full box with a cross-bar: cut short, stopped or interrupted."""
    LEFT_OUT = "left-out"
    """A hatched box: skipped."""
    REFUSED = "refused"
    """A cross: refused or missed."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One cycle or run. at_s: wall time; words: what pointing at it tells."""

    at_s: float
    seconds: float
    look: Look
    words: str


def day_strip(span: Span, entries: Sequence[Entry], sun: tuple[float, float] | None, now_s: float | None) -> Markup:
    """sun: its rise and set. now_s: where the day has got to, None on a day of the past."""
    ran = sum(entry.look in (Look.RAN, Look.SHORT) for entry in entries)
    planned = sum(entry.look is Look.PLANNED for entry in entries)
    label = f"The day from midnight to midnight: {planned} cycles planned, {ran} runs, sun {_sun_words(span, sun)}"
    return chart(
        label,
        HEIGHT,
        _sunlight(span, sun),
        tag("text", "planned", x=0, y=20, class_="tick"),
        tag("text", "done", x=0, y=84, class_="tick"),
        tag("line", x1=0, x2="100%", y1=LINE_Y, y2=LINE_Y, class_="axis"),
        [_mark(span, entry) for entry in entries if span.holds(entry.at_s)],
        None if now_s is None or not span.holds(now_s) else _now(span, now_s),
        time_axis(span, HEIGHT),
        class_="strip",
    )


def _sunlight(span: Span, sun: tuple[float, float] | None) -> Markup | None:
    if sun is None:
        return None
    rise, set_ = span.share(sun[0]), span.share(sun[1])
    if set_ <= rise:
        return None
    return tag(
        "g",
        tag("rect", x=percent(rise), width=percent(set_ - rise), y=8, height=HEIGHT - 26, class_="sunlight"),
        tag("text", f"sun {_sun_words(span, sun)}", x=percent((rise + set_) / 2), y=19, text_anchor="middle",
            class_="tick"),
    )  # fmt: skip


def _sun_words(span: Span, sun: tuple[float, float] | None) -> str:
    if sun is None:
        return "does not rise or set"
    rise, set_ = (local(wall_s, span.zone) for wall_s in sun)
    return f"{rise:%H:%M} to {set_:%H:%M}"


def _mark(span: Span, entry: Entry) -> Markup:
    x, words = percent(span.share(entry.at_s)), tag("title", entry.words)
    wide = percent(entry.seconds / (span.end_s - span.begin_s))
    y, high = (PLAN_Y, PLAN_H) if entry.look is Look.PLANNED else (RUN_Y, RUN_H)
    if entry.look is Look.REFUSED:
        return tag("g", words, _cross(x, y + 4), class_="mark refused")
    # two boxes: the least width that an eye and a finger need, and the true one if that is wider
    boxes = [tag("rect", x=x, y=y, width=width, height=high) for width in (LEAST_WIDTH, wide)]
    bar = tag("rect", x=x, y=y + high / 2 - 2, width=LEAST_WIDTH + 5, height=4, class_="bar")
    return tag("g", words, boxes, bar if entry.look is Look.SHORT else None, class_=f"mark {entry.look.value}")


def _cross(x: str, y: float) -> Markup:
    """A nested box gives the cross its place in per cent."""
    return tag(
        "svg", tag("path", d="M1,1 L11,13 M11,1 L1,13", class_="cross"), x=x, y=y, width=12, height=14,
        overflow="visible",
    )  # fmt: skip


def _now(span: Span, now_s: float) -> Markup:
    x = percent(span.share(now_s))
    return tag(
        "g", tag("title", "now"), tag("line", x1=x, x2=x, y1=16, y2=HEIGHT - 18, class_="now"), class_="mark"
    )
