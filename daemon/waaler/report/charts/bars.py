"""Bars of run minutes, one a day."""

from collections.abc import Sequence
from dataclasses import dataclass

from waaler.report.charts.frame import FOOT, Scale, Span, chart, grid, percent, tick_words, time_axis
from waaler.report.markup import Markup, tag

__all__ = ["Bar", "bars"]

HEIGHT = 130
SHARE = 0.66
"""Of a day's width."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One day. at_s: its beginning; skips: cycles left out, hatched on top for as long as they would have run."""

    at_s: float
    minutes: float
    left_out_minutes: float
    words: str


def bars(title: str, span: Span, days: Sequence[Bar]) -> Markup:
    scale = Scale.of([day.minutes + day.left_out_minutes for day in days], HEIGHT, base=0.0)
    whole = sum(day.minutes for day in days)
    return chart(
        f"{title}: {whole:.0f} min in {len(days)} days",
        HEIGHT,
        grid(scale),
        [_bar(span, scale, day, len(days)) for day in days],
        tick_words(scale, "min"),
        time_axis(span, HEIGHT),
    )


def _bar(span: Span, scale: Scale, day: Bar, count: int) -> Markup:
    wide = SHARE / max(1, count)
    x = percent(span.share(day.at_s) + (1 - SHARE) / 2 / max(1, count))
    top, higher = scale.y(day.minutes), scale.y(day.minutes + day.left_out_minutes)
    return tag(
        "g",
        tag("title", day.words),
        tag("rect", x=x, width=percent(wide), y=top, height=HEIGHT - FOOT - top, class_="solid"),
        tag("rect", x=x, width=percent(wide), y=higher, height=top - higher, class_="hatched")
        if higher < top
        else None,
        class_="mark",
    )
