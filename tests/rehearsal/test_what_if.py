"""Other values for the plan, each rehearsed and ranked."""

from datetime import UTC, datetime

import pytest
from tests.settings.test_faults import SMALLEST

from waaler.rehearsal.scene import Scene
from waaler.rehearsal.what_if import combinations, try_all
from waaler.settings import SettingsError, parse
from waaler.settings.settings import Settings, varied


@pytest.fixture
def settings() -> Settings:
    return parse(SMALLEST, "t.yaml")


def scene(settings: Settings, days: float = 2.0) -> Scene:
    start = datetime(2026, 7, 1, tzinfo=UTC)
    return Scene(settings.plan, settings.sensing, settings.limits, settings.figures, start, days)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"cycle": "4"}, "t.yaml:4:3: no window has 'cycle'; known here: between, cycles, water, window"),
        (
            {"cycles": "0"},
            "t.yaml:5:13: plan.cycles: 0 cycles is outside 1 to 96 cycles; write a value in that range",
        ),
    ],
)
def test_a_choice_that_makes_no_sense_is_told_with_its_place(
    settings: Settings, changes: dict[str, str], told: str
) -> None:
    with pytest.raises(SettingsError) as caught:
        varied(settings, changes)

    assert str(caught.value) == told


def test_another_value_changes_the_plan_and_leaves_the_file_alone(settings: Settings) -> None:
    other = varied(settings, {"cycles": "6", "water": "90 s"})

    assert other.plan.windows[0].pattern.count == 6  # type: ignore[union-attr]
    assert other.plan.windows[0].seconds == 90.0
    assert settings == parse(SMALLEST, "t.yaml")


def test_every_combination_is_tried() -> None:
    assert list(combinations({"cycles": ["4", "5"], "water": ["1 min"]})) == [
        (("cycles", "4"), ("water", "1 min")),
        (("cycles", "5"), ("water", "1 min")),
    ]


def test_the_least_water_that_keeps_the_bed_comes_first_and_a_plan_that_starves_it_last(settings: Settings) -> None:
    counted: list[int] = []
    tried = try_all(
        settings, scene(settings, 6.0), {"cycles": ["1", "4"], "water": ["10 s", "2 min"]}, counted.append
    )

    assert counted == [1, 2, 3, 4]
    assert tried[0].is_sound
    sound = [one for one in tried if one.is_sound]
    assert [one.found.lifted_l for one in sound] == sorted(one.found.lifted_l for one in sound)
    assert tried[-1].changes == (("cycles", "1"), ("water", "10 s"))
    assert tried[-1].found.wilted_h > 0
