"""One figure of things over another: a dot each, with its name."""

from collections.abc import Sequence
from dataclasses import dataclass

from waaler.report.charts.frame import FOOT, Scale, chart, grid, percent, tick_words
from waaler.report.charts.lines import Line, limit_line
from waaler.report.markup import Markup, join, tag

__all__ = ["Dot", "scatter"]

HEIGHT = 240
ROOM = 0.06
"""Of the width at both sides, so that no dot lies on the edge."""


@dataclass(frozen=True, slots=True)
class Dot:
    """x, y: in the axes' units. is_full: filled, else a ring. words: what pointing at it tells."""

    x: float
    y: float
    name: str
    is_full: bool
    words: str


def scatter(
    title: str, across: str, x_unit: str, y_unit: str, dots: Sequence[Dot], limits: Sequence[Line] = ()
) -> Markup:
    """across: what the axis below is of."""
    upward = Scale.of([dot.y for dot in dots] + [limit.value for limit in limits], HEIGHT)
    level = Scale.of([dot.x for dot in dots], HEIGHT)
    return chart(
        title,
        HEIGHT,
        grid(upward),
        [limit_line(upward, limit) for limit in limits],
        [_dot(dot, level, upward) for dot in dots],
        tick_words(upward, y_unit),
        _axis(level, f"{x_unit} {across}"),
    )


def _share(scale: Scale, value: float) -> float:
    return ROOM + (1 - 2 * ROOM) * (value - scale.least) / (scale.most - scale.least)


def _dot(dot: Dot, level: Scale, upward: Scale) -> Markup:
    share, y = _share(level, dot.x), upward.y(dot.y)
    anchor, aside = ("end", -8) if share > 0.6 else ("start", 8)
    return tag(
        "g",
        tag("title", dot.words),
        tag("circle", cx=percent(share), cy=y, r=5, class_="spot" if dot.is_full else "dot"),
        tag("text", dot.name, x=percent(share), dx=aside, y=y + 4, text_anchor=anchor, class_="tick"),
        class_="mark",
    )


def _axis(level: Scale, words: str) -> Markup:
    y = HEIGHT - FOOT
    parts = [tag("line", x1=0, x2="100%", y1=y, y2=y, class_="axis")]
    for tick in level.ticks:
        x = percent(_share(level, tick))
        is_last = tick == level.ticks[-1]
        parts.append(tag("line", x1=x, x2=x, y1=y, y2=y + 4, class_="axis"))
        if tick == level.ticks[-2]:
            continue  # the last one's words need its room on a phone
        text = f"{tick:g} {words}" if is_last else f"{tick:g}"
        parts.append(
            tag("text", text, x=x, y=HEIGHT - 3, text_anchor="end" if is_last else "middle", class_="tick")
        )
    return join(parts)
