"""Thirsty pots among others: each dries and wilts by itself, and is named."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from tests.settings.test_faults import SMALLEST

from waaler.bed.pots import Pot, alike
from waaler.cli.rehearsed import verdict
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene
from waaler.rehearsal.staging import scene_of
from waaler.settings import parse

THREE = Pot(capacity_l=5.4, dry_l=3.6, wilting_l=1.8, flow_l_per_min=0.5, drink_l_per_day=4.0)
ELEVEN = Pot(capacity_l=3.0, dry_l=2.4, wilting_l=1.0, flow_l_per_min=1.0, drink_l_per_day=0.2)
POTS = (*alike(3, THREE), *alike(11, ELEVEN))


def play(pots: tuple[Pot, ...], days: float = 5.0) -> Findings:
    """Four cycles of 60 s a day; 12.5 L/min fill the line of 2.5 L in 12 s, so each gives for 48 s."""
    settings = parse(
        SMALLEST.replace("2 min", "60 s") + "weather: {normals: [" + "[25 C, 15 C], " * 12 + "]}\n", "t.yaml"
    )
    scene: Scene = scene_of(settings, datetime(2026, 6, 20, 23, tzinfo=UTC), days)
    figures = replace(scene.figures, pots=pots, line_l=2.5)
    return Play(replace(scene, figures=figures, skies=(), sump=None)).run()


def test_three_thirsty_pots_wilt_and_are_named_though_the_bed_gets_enough() -> None:
    """They get 4 x 0.4 L of the 4 L that they drink: 2.4 L less each day. Of 5.4 L they pass 3.6 L on the first day
    and 1.8 L on the second; after that they stay below, but for the hours after a cycle.
    """
    found = play(POTS)

    assert found.pots_dry_h[3:] == found.pots_wilted_h[3:] == [0.0] * 11
    assert 3.0 * 24 < found.pots_wilted_h[0] < 4 * 24
    assert 4.0 * 24 < found.pots_dry_h[0] < 5 * 24
    assert found.wilted_h == pytest.approx(max(found.pots_wilted_h))
    assert found.driest_pot in (1, 2, 3)
    assert found.wilting_percent == pytest.approx(100 / 3)
    assert verdict(found).startswith("Plants wilt in pots 1 to 3: up to ")
    assert verdict(found).endswith(" h below the wilting mark. Water more often, or longer.")


def test_drying_is_told_from_wilting() -> None:
    """1.6 L given and drunk a day, from 5.4 L: the first cycle comes at 5:30, and two thirds of a day's drink fall
    between the cycles; with a mark at 5.2 L the pot dries past it, at 1.8 L nothing wilts.
    """
    found = play(alike(14, replace(THREE, drink_l_per_day=1.6, dry_l=5.2, flow_l_per_min=0.9)), days=2.0)

    assert not found.does_starve
    assert found.pots_dry_h[0] > 2
    assert verdict(found).startswith("No plant wilts, but pots 1 to 14 dry past what is easy to take: up to ")
    assert verdict(replace(found, pots_dry_h=[0.0] * 14)) == "The plan keeps the media moist, and nothing tripped."


def test_plants_that_wilt_beside_an_empty_sump_want_a_refill_and_not_more_cycles() -> None:
    found = play(alike(14, replace(THREE, drink_l_per_day=2.7, flow_l_per_min=0.9)), days=9.0)

    assert found.does_starve
    assert found.sump_low_at is not None
    assert verdict(found).endswith("Refill sooner.")


def test_the_driest_pot_is_the_one_nearest_to_wilting_and_not_the_one_that_holds_least() -> None:
    """Both lose 0.6 L by the next cycle: 2.4 of 3 L is 80 %, and 4.8 of 5.4 L 89 %, with 1.4 and 0.2 L to wilting."""
    near = replace(ELEVEN, capacity_l=5.4, wilting_l=4.6, dry_l=4.7, drink_l_per_day=2.0)
    found = play((*alike(13, replace(ELEVEN, drink_l_per_day=2.0)), near), days=1.0)

    assert found.driest_pot == 14
    assert found.pots_driest_percent[13] > found.pots_driest_percent[0]
