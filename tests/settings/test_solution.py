"""What growers read off their meters."""

import pytest
from tests.settings.test_reading import settings

from waaler.plan.sensing import Range
from waaler.settings import SettingsError
from waaler.settings.solution import ec_ms_per_cm, ph
from waaler.settings.units import UnitError


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("1.8", "1.8 has no unit; write 1.8 mS/cm"),
        ("900 ppm", "ppm has three scales; write ppm500, ppm640 or ppm700"),
        ("900 ppm442", "'ppm442' is no unit of conductivity"),
        ("strong", "'strong' is no conductivity"),
        ("", "'' is no conductivity"),
    ],
)
def test_a_conductivity_that_cannot_be_read_says_what_to_write(text: str, part: str) -> None:
    with pytest.raises(UnitError, match=part):
        ec_ms_per_cm(text)


@pytest.mark.parametrize(
    "text",
    ["1.8 mS/cm", "1,8mS/cm", "1.8 dS/m", "1800 uS/cm", "1800 µS/cm", "900 ppm500", "1152 ppm640", "1260ppm700"],
)
def test_one_conductivity_has_many_names(text: str) -> None:
    assert ec_ms_per_cm(text) == pytest.approx(1.8)


@pytest.mark.parametrize("text", ["14.1", "-1", "acid", ""])
def test_a_ph_beyond_its_scale_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="is no pH; write a number from 0 to 14"):
        ph(text)


def test_the_file_gives_the_ranges_of_the_solution() -> None:
    found = settings("solution: {ec: [700 ppm500, 2.4 mS/cm], ph: [5.5, 6.3], temperature: [54 F, 26 C]}\n")

    ec, acid, warmth = found.sensing.ranges
    assert (ec, acid) == (Range("EC", "mS/cm", 1.4, 2.4), Range("pH", "", 5.5, 6.3))
    assert (warmth.name, round(warmth.lowest, 1), warmth.highest) == ("temperature", 12.2, 26.0)


def test_a_range_that_is_upside_down_is_refused() -> None:
    with pytest.raises(SettingsError, match="the range of ph is empty; write the lowest first"):
        settings("solution: {ph: [6.3, 5.5]}\n")
