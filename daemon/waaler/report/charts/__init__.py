"""Charts as inline SVG. They take the width that there is: lengths across are per cent, text keeps its size."""

from waaler.report.charts.bars import Bar, bars
from waaler.report.charts.frame import PATTERNS, Span
from waaler.report.charts.lines import Band, Line, Mark, band_chart, dots_chart, level_chart
from waaler.report.charts.spark import spark_text
from waaler.report.charts.strip import Entry, Look, day_strip

__all__ = [
    "PATTERNS", "Band", "Bar", "Entry", "Line", "Look", "Mark", "Span", "band_chart", "bars", "day_strip",
    "dots_chart", "level_chart", "spark_text",
]  # fmt: skip
