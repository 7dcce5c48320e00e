"""The pin header, held to gpiozero's own tables of the boards."""

import pytest
from gpiozero import PiBoardInfo

from waaler.bed.header import FIXED_PULL_UP, GROUNDS, POSITIONS, nearest, position_of, what_stands_at

SUPPLIES = {"3V3": "3.3 V", "5V": "5 V", "GND": "ground"}
FORTY, TWENTY_SIX = (0xC03111, "J8"), (0x000E, "P1")  # a board of 2019, the second one of 2012


@pytest.mark.parametrize("position", [0, -1, 41])
def test_a_position_outside_of_the_header_is_refused(position: int) -> None:
    with pytest.raises(IndexError):
        what_stands_at(position)


def test_a_gpio_that_no_header_has_is_refused() -> None:
    with pytest.raises(ValueError):
        position_of(28)


@pytest.mark.parametrize(("revision", "header", "count"), [(*FORTY, 40), (*TWENTY_SIX, 26)])
def test_every_position_is_what_gpiozero_has_there(revision: int, header: str, count: int) -> None:
    pins = PiBoardInfo.from_revision(revision).headers[header].pins

    assert len(pins) == count
    for position, pin in pins.items():
        known = SUPPLIES.get(pin.name) or int(pin.name.removeprefix("GPIO"))
        assert what_stands_at(position) == known
        if pin.pull == "up" and count == 40:
            assert known in (*FIXED_PULL_UP, 0, 1)


def test_every_gpio_stands_at_one_position() -> None:
    assert sorted(what for what in POSITIONS if isinstance(what, int)) == list(range(28))
    assert (position_of(17), position_of(27), position_of(22)) == (11, 13, 15)


@pytest.mark.parametrize(("position", "ground"), [(11, 9), (13, 14), (15, 14), (1, 6), (40, 39)])
def test_the_nearest_ground_is_found(position: int, ground: int) -> None:
    assert nearest(position, GROUNDS) == ground
