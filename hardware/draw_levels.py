"""Draws where the floats hang: tray and sump in section, heights from the file where it has them. Not to scale."""

import schemdraw
import schemdraw.elements as elm
from hardware.pen import Point, line, text

from waaler.settings import Settings

__all__ = ["draw_levels"]

RIGHT = 9.6
"""Where the words stand, right of tray and sump."""


def draw_levels(drawing: schemdraw.Drawing, settings: Settings) -> None:
    _tray(drawing, settings)
    _sump(drawing, settings)


def _tray(drawing: schemdraw.Drawing, settings: Settings) -> None:
    line(drawing, (0.0, 10.8), (0.0, 8.0), (7.8, 7.8), (7.8, 6.9))
    line(drawing, (8.2, 6.9), (8.2, 7.8), (9.0, 7.8), (9.0, 10.8))
    text(drawing, 8.35, 7.3, "drain")
    line(drawing, (6.4, 7.83), (6.4, 9.9))
    line(drawing, (6.7, 7.82), (6.7, 9.9))
    line(drawing, (1.4, 7.96), (1.2, 9.9), (3.2, 9.9), (3.0, 7.92))
    text(drawing, 1.9, 8.9, "pot")
    _float(drawing, (4.8, 9.0), 11.2)
    text(drawing, 5.0, 10.9, "tray_high")
    drawing.add(elm.Dot().at((7.45, 7.9)))
    tray = settings.tray
    _level(drawing, 9.0, 10.8, "rim" if tray is None else f"rim: the tray is {tray.rim_m * 100:g} cm deep")
    _level(drawing, 6.7, 9.9, "standpipe: 2 cm under the rim,", "back to the sump")
    _level(drawing, 5.3, 9.0, "tray_high acts: above a full run's", "highest level, below the standpipe")
    _level(drawing, 7.6, 7.95, "tray_wet, if fitted: the lowest spot")


def _sump(drawing: schemdraw.Drawing, settings: Settings) -> None:
    line(drawing, (2.4, 5.8), (2.4, 0.0), (9.0, 0.0), (9.0, 5.8))
    figures, section = settings.figures, settings.file.layout.sump
    if section is not None and section.brim is not None:
        _level(drawing, 9.0, 5.8, f"brim: {section.brim:g} L")
    _level(drawing, 2.4, 4.8, f"full mark: {figures.sump_full_l:g} L;", "what runs back fits above it")
    _float(drawing, (4.2, 3.2), 6.2)
    text(drawing, 4.4, 5.9, "sump_low")
    _float(drawing, (6.4, 2.3), 6.2)
    text(drawing, 6.6, 5.9, "S2")
    _level(drawing, 4.7, 3.2, f"sump_low acts: {figures.sump_low_l:g} L,", "5 cm or more above the intake")
    _level(drawing, 6.9, 2.3, "S2, the second float, acts:", "20 to 30 mm lower")
    line(drawing, (6.9, 0.0), (6.9, 0.5), (8.6, 0.5), (8.6, 0.0))
    line(drawing, (7.0, 0.5), (7.0, 1.4), (8.5, 1.4), (8.5, 0.5))
    text(drawing, 7.25, 0.95, "pump")
    _level(drawing, 8.5, 1.2, "intake: still covered when S2 acts")
    text(drawing, RIGHT, 0.25, "brick: off the mud")


def _float(drawing: schemdraw.Drawing, at: Point, top: float) -> None:
    """A stem and what swims on it."""
    line(drawing, (at[0], top), (at[0], at[1] + 0.25))
    drawing.add(elm.RBox().endpoints((at[0] - 0.5, at[1]), (at[0] + 0.5, at[1])))


def _level(drawing: schemdraw.Drawing, x: float, y: float, *words: str) -> None:
    drawing.add(elm.Line().at((x, y)).to((RIGHT - 0.2, y)).linestyle(":").linewidth(1))
    for n, one in enumerate(words):
        text(drawing, RIGHT, y - 0.38 * n, one)
