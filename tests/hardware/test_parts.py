"""The parts' page: wire sizes are reckoned, fuses protect the thinner of two cables."""

import re
from math import pi
from pathlib import Path

import pytest

PAGE = (Path(__file__).parents[2] / "hardware" / "parts.md").read_text()
ROWS = re.findall(r"^\| (\d+) \| ([\d.]+) \| ([\d.]+) \| (\d+) A \|$", PAGE, re.MULTILINE)
FUSE_A = {0.75: 5, 1.5: 10}
"""What the page's own row of F1 says of a cable in mm2."""


@pytest.mark.parametrize(("gauge", "area", "near", "fuse"), ROWS)
def test_a_gauge_has_its_area_and_a_fuse_for_the_thinner_cable(gauge: str, area: str, near: str, fuse: str) -> None:
    """Source: ASTM B258, from memory: AWG 36 is 0.127 mm thick, each of 39 steps is the 39th root of 92."""
    diameter_mm = 0.127 * 92 ** ((36 - int(gauge)) / 39)
    thinner = min(float(area), float(near))

    assert float(area) == round(pi / 4 * diameter_mm**2, 2)
    assert int(fuse) == max(amperes for size, amperes in FUSE_A.items() if size <= thinner)


def test_the_page_has_gauges_and_the_fuses_that_they_are_held_to() -> None:
    assert [int(row[0]) for row in ROWS] == [18, 16, 14, 12]
    assert all(f"{amperes} A for {size:g} mm2" in PAGE for size, amperes in FUSE_A.items())
