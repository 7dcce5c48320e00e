"""Curves over days: the band of moisture, and the level of the sump."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from waaler.report.charts.frame import Scale, Span, chart, grid, path_box, percent, polyline, tick_words, time_axis
from waaler.report.markup import Markup, tag

__all__ = ["Band", "Line", "Mark", "band_chart", "dots_chart", "level_chart", "limit_line"]

HEIGHT = 170
NAME_SHARE = 0.15
"""Of the width: what a mark's name needs on a phone."""

GAP_STEPS = 3.0
"""Points further apart than so many steps are not joined: nothing was read in between."""


@dataclass(frozen=True, slots=True)
class Band:
    """At each wall time the least, the middle and the most of all sensors, in the chart's unit."""

    at_s: float
    least: float
    middle: float
    most: float


@dataclass(frozen=True, slots=True)
class Line:
    """A level across the whole chart, with its name: a limit of the file."""

    value: float
    name: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment with its short name on top: a refill. words: what pointing at it tells."""

    at_s: float
    name: str
    words: str


def band_chart(
    title: str, unit: str, span: Span, points: Sequence[Band], step_s: float, limits: Sequence[Line] = ()
) -> Markup:
    """The middle as a strong line, least and most as the edges of a shade."""
    scale = Scale.of([v for p in points for v in (p.least, p.most)] + [limit.value for limit in limits], HEIGHT)
    curves = []
    for part in _parts(points, step_s):
        shares = [span.share(point.at_s) for point in part]
        upper = [(share, scale.y(p.most)) for share, p in zip(shares, part, strict=True)]
        lower = [(share, scale.y(p.least)) for share, p in zip(shares, part, strict=True)]
        middle = [(share, scale.y(p.middle)) for share, p in zip(shares, part, strict=True)]
        curves += [
            tag("path", d=polyline(upper + lower[::-1]) + "Z", class_="shade"),
            tag("path", d=polyline(upper), class_="edge most"),
            tag("path", d=polyline(lower), class_="edge least"),
            tag("path", d=polyline(middle), class_="curve"),
        ]
    return _chart(f"{title}, {unit}: {_range_words(points)}", unit, span, scale, curves, limits, ())


def level_chart(
    title: str,
    unit: str,
    span: Span,
    points: Sequence[tuple[float, float]],
    limits: Sequence[Line],
    marks: Sequence[Mark],
    is_expected: bool,
) -> Markup:
    """One line from zero; broken where it is expected rather than measured."""
    scale = Scale.of([value for _, value in points] + [limit.value for limit in limits], HEIGHT, base=0.0)
    line = [(span.share(at_s), scale.y(value)) for at_s, value in points]
    curves = []
    if line:
        fill = [*line, (line[-1][0], scale.bottom), (line[0][0], scale.bottom)]
        curves = [
            tag("path", d=polyline(fill) + "Z", class_="shade"),
            tag("path", d=polyline(line), class_="curve expected" if is_expected else "curve"),
        ]
    told = f"{points[0][1]:.0f} to {points[-1][1]:.0f} {unit}" if points else "nothing known"
    return _chart(f"{title}: {told}", unit, span, scale, curves, limits, marks)


def _chart(
    label: str,
    unit: str,
    span: Span,
    scale: Scale,
    curves: Sequence[Markup],
    limits: Sequence[Line],
    marks: Sequence[Mark],
    dots: Sequence[Markup] = (),
) -> Markup:
    return chart(
        label,
        HEIGHT,
        grid(scale),
        path_box(HEIGHT, curves),
        dots,
        [limit_line(scale, limit) for limit in limits],
        _moments(span, marks, scale),
        tick_words(scale, unit),
        time_axis(span, HEIGHT),
    )


def _parts(points: Sequence[Band], step_s: float) -> Iterator[list[Band]]:
    part: list[Band] = []
    for point in points:
        if part and point.at_s - part[-1].at_s > GAP_STEPS * step_s:
            yield part
            part = []
        part.append(point)
    if part:
        yield part


def _range_words(points: Sequence[Band]) -> str:
    if not points:
        return "nothing read"
    return f"{min(p.least for p in points):.0f} to {max(p.most for p in points):.0f}, last {points[-1].middle:.0f}"


def limit_line(scale: Scale, limit: Line) -> Markup:
    y = scale.y(limit.value)
    return tag(
        "g",
        tag("line", x1=0, x2="100%", y1=y, y2=y, class_="limit"),
        tag("text", limit.name, x="100%", y=y - 3, text_anchor="end", class_="tick limit-name"),
    )


def _moments(span: Span, marks: Sequence[Mark], scale: Scale) -> list[Markup]:
    """A line each; a name only where the one before leaves room for it on a phone."""
    drawn, last_share = [], -1.0
    for mark in marks:
        if span.holds(mark.at_s):
            share = span.share(mark.at_s)
            has_room = share - last_share > NAME_SHARE
            last_share = share if has_room else last_share
            drawn.append(_moment(mark, percent(share), share > 1 - NAME_SHARE, has_room, scale))
    return drawn


def _moment(mark: Mark, x: str, is_last: bool, has_name: bool, scale: Scale) -> Markup:
    anchor = "end" if is_last else "start"
    return tag(
        "g",
        tag("title", mark.words),
        tag("line", x1=x, x2=x, y1=scale.top, y2=scale.bottom, class_="moment"),
        tag("text", mark.name, x=x, y=10, text_anchor=anchor, class_="tick") if has_name else None,
    )


def dots_chart(
    title: str, unit: str, span: Span, points: Sequence[tuple[float, float]], limits: Sequence[Line]
) -> Markup:
    """Single measurements: a dot each, joined by a thin line."""
    values = [value for _, value in points] + [limit.value for limit in limits]
    room = 0.08 * (max(values) - min(values)) if values else 0.0
    scale = Scale.of([*values, min(values) - room, max(values) + room] if values else [], HEIGHT)
    line = [(span.share(at_s), scale.y(value)) for at_s, value in points]
    dots = [tag("circle", cx=percent(share), cy=y, r=4, class_="dot") for share, y in line]
    curves = [tag("path", d=polyline(line), class_="thin")] if line else []
    told = f"{len(points)} measured, last {points[-1][1]:g} {unit}".strip() if points else "nothing measured"
    return _chart(f"{title}: {told}", unit, span, scale, curves, limits, (), dots)
