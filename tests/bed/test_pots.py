"""The pots along the line: which outlet stands in which, and what people call them."""

from datetime import date

import pytest

from waaler.bed.crops import Crop, Stages
from waaler.bed.pots import Pot, alike, by_pot, crops_of, named, seats

TOMATO, BEANS = (
    Crop(name, Stages((1, 1, 1, 1), 1.0, 0.9), date(2026, 5, 1), 0.5, 1.5, 2.5) for name in ("tomato", "beans")
)
POTS = (*alike(3, Pot(crop=TOMATO, outlets=2)), Pot(crop=BEANS), *alike(2, Pot()))


def test_outlets_stand_in_their_pots_one_after_the_other() -> None:
    assert seats(POTS) == (0, 0, 1, 1, 2, 2, 3, 4, 5)
    assert by_pot(POTS, [1, 2, 3, 4, 5, 6, 7, 8, 9]) == (3, 7, 11, 7, 8, 9)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ([0], "pot 1 (tomato)"),
        ([2, 0, 1], "pots 1 to 3 (tomato)"),
        ([0, 2, 3], "pot 1 (tomato), pot 3 (tomato) and pot 4 (beans)"),
        ([2, 3, 4, 5], "pot 3 (tomato), pot 4 (beans) and pots 5 to 6"),
        ([3, 5], "pot 4 (beans) and pot 6"),
        ([], ""),
    ],
)
def test_pots_are_named_by_their_place_and_crop(numbers: list[int], words: str) -> None:
    assert named(POTS, numbers) == words


def test_each_crop_is_known_once() -> None:
    assert crops_of(POTS) == (TOMATO, BEANS)
