"""Media: what a pot of them holds once drained, what of it plants take easily, and when they wilt.

A pot that has drained has no suction at its floor, and as many centimetres of it at each height as it stands high.
What it holds is therefore the mean of the medium's retention curve over that height, whatever its width.

Source: Passioura 2006, Funct. Plant Biol. 33:1075-1079.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import log, pi

__all__ = ["COARSE_PERLITE", "EASY_CM", "FINE_PERLITE", "WILTING_CM", "Medium", "usual_height_cm"]

EASY_CM = 50.0
"""Suction, in cm of water, up to which water is easily available.

Source: De Boodt and Verdonck 1972, Acta Hortic. 26:37-44.
"""

WILTING_CM = 100.0
"""Suction at which plants in a coarse medium are taken to wilt: the water buffer of the same source ends there.

That they wilt just then is common practice, no source; a pot that was weighed knows better.
"""

HEIGHT_BY_WIDTH = 0.82
"""Of a fabric pot. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Medium:
    """A retention curve.

    points: suction in cm of water and share of the volume that is water (0 to 1); the first at no suction, three
    at least, both in a strict row. Between two of them Campbell's power law holds; the first such law goes on
    towards saturation, the last one beyond the last point.

    Source of the law: Campbell 1974, Soil Sci. 117:311-314 (from memory).
    """

    points: tuple[tuple[float, float], ...]

    def content(self, suction_cm: float) -> float:
        """Share of the volume that is water at this suction."""
        (_, pores), *rest = self.points
        if suction_cm <= 0:
            return pores
        pieces = list(pairwise(rest))
        piece = next((piece for piece in pieces if suction_cm <= piece[1][0]), pieces[-1])
        near_cm, share = piece[0]
        return min(pores, float(share * (suction_cm / near_cm) ** -_steepness(*piece)))

    def drained(self, height_cm: float) -> float:
        """Share of a drained pot's volume that is water: its container capacity. height_cm: of the medium."""
        (_, pores), *rest = self.points
        pieces = list(pairwise(rest))
        entry_cm = _entry_cm(pores, *pieces[0])
        edges = [entry_cm, *(piece[1][0] for piece in pieces[:-1]), max(height_cm, pieces[-1][1][0])]
        held_cm = pores * min(height_cm, entry_cm)
        for piece, (low_cm, high_cm) in zip(pieces, pairwise(edges), strict=True):
            if low_cm < height_cm:
                held_cm += _held_cm(*piece, low_cm, min(high_cm, height_cm))
        return held_cm / height_cm

    def released(self, height_cm: float, suction_cm: float) -> float:
        """What a drained pot gives up until all of it has this suction, as a share of its volume.

        What stands higher than that has it from the beginning.
        """
        wet_cm = min(height_cm, suction_cm)
        return (self.drained(wet_cm) - self.content(suction_cm)) * wet_cm / height_cm


Point = tuple[float, float]


def _steepness(near: Point, far: Point) -> float:
    """The exponent of the law between two points."""
    return log(near[1] / far[1]) / log(far[0] / near[0])


def _entry_cm(pores: float, near: Point, far: Point) -> float:
    """The suction at which the law between these points would have all pores full: air enters from there on."""
    return float(near[0] * (near[1] / pores) ** (1 / _steepness(near, far)))


def _held_cm(near: Point, far: Point, low_cm: float, high_cm: float) -> float:
    """The law's integral between two suctions: centimetres of water."""
    steepness = _steepness(near, far)
    if abs(1 - steepness) < 1e-9:
        return near[1] * near[0] * log(high_cm / low_cm)
    rest = 1 - steepness
    return float(near[1] * near[0] / rest * ((high_cm / near[0]) ** rest - (low_cm / near[0]) ** rest))


def usual_height_cm(nominal_l: float) -> float:
    """Of a pot of this volume, where it was not measured."""
    return float(10 * (nominal_l * 4 / pi * HEIGHT_BY_WIDTH**2) ** (1 / 3))


COARSE_PERLITE = Medium(((0.0, 0.947), (10.0, 0.290), (50.0, 0.221), (100.0, 0.194)))
"""3 to 5 mm: the cautious one of the two, and so the default."""

FINE_PERLITE = Medium(((0.0, 0.940), (10.0, 0.568), (50.0, 0.322), (100.0, 0.255)))
"""0 to 5 mm.

Source of both: a table after Fernandez and others 1998 (from memory; weak). What lies between 0 and 10 cm was not
measured: whatever the curve there, a pot 25 cm high of the coarse grade holds 25 to 55 % of its volume.
"""
