"""A plan is suggested only once it was rehearsed; what it must carry is counted by a bucket of its own here."""

from dataclasses import replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from tests.settings.test_faults import SMALLEST
from tests.settings.test_growing import MONTHS

from waaler.bed.budget import Advice, Budget, advice
from waaler.plan.timetable import cycles_of_day
from waaler.rehearsal.advising import design, suggested, unhelped
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Scene
from waaler.settings import Settings, parse
from waaler.settings.reckoning import budget_of
from waaler.settings.settings import replanned

FIRST = date(2026, 7, 1)
CROPS = """\
crops:
  - {name: tomato, planted: 2026-05-01, canopy: 0.7 m2, stages: [30, 30, 60, 30], kc: [1.15, 0.8]}
  - {name: lettuce, planted: 2026-06-10, canopy: 0.06 m2, stages: [20, 30, 25, 10], kc: [1.0, 0.95]}
"""
THREE_AND_ELEVEN = (
    SMALLEST.replace("2 min", "60 s")
    + CROPS
    + MONTHS
    + "pots: [{count: 3, nominal: %s, crop: tomato}, {count: 11, crop:"
    " lettuce}]\n"
)


def asked(text: str) -> tuple[Settings, Budget, Advice, Scene]:
    settings = parse(text, "t.yaml")
    found = budget_of(settings, FIRST, 20)
    return settings, found, advice(found, settings.figures), design(settings, found)


def driest_l(settings: Settings, scene: Scene) -> list[float]:
    """A bucket minute by minute: what a cycle gives fills each pot up to what it holds, and the sun's share is drunk."""
    pots, sky, zone = settings.figures.pots, scene.skies[0], ZoneInfo("Europe/Lisbon")
    day = scene.start.astimezone(zone).date()
    starts = [cycle for n in range(3) for cycle in cycles_of_day(settings.plan, day + timedelta(days=n))]
    at_min = {round((cycle.start - scene.start).total_seconds() / 60): cycle.seconds for cycle in starts}
    held, least = [pot.capacity_l for pot in pots], [pot.capacity_l for pot in pots]
    fill_s = 60 * settings.figures.line_l / sum(pot.flow_l_per_min for pot in pots)
    for minute in range(3 * 1440):
        share = sky.shares[minute // 60 % 24] / 60
        for n, pot in enumerate(pots):
            held[n] -= share * sky.drinks_l[n]
            least[n] = min(least[n], held[n])
            if minute in at_min:
                given_l = pot.flow_l_per_min * (at_min[minute] - fill_s) / 60
                held[n] = min(pot.capacity_l, held[n] + given_l)
    return least


def test_three_tomatoes_among_eleven_lettuces_get_a_plan_that_carries_them() -> None:
    settings, found, told, scene = asked(THREE_AND_ELEVEN % "5 gal")
    written = Play(scene).run()
    plan = suggested(settings, scene, found, told)

    assert unhelped(written.pots_wilted_h, written) == [0, 1, 2]
    assert plan is not None
    assert plan.cycles > 4
    new = replanned(settings, plan.cycles, plan.seconds)
    least = driest_l(new, scene)
    assert all(litres >= pot.dry_l - 0.02 for litres, pot in zip(least, settings.figures.pots, strict=True))
    few = replanned(settings, 3, plan.seconds)
    assert driest_l(few, scene)[0] < settings.figures.pots[0].dry_l


def test_the_design_day_is_the_thirstiest_of_every_pot_at_once_with_water_enough() -> None:
    _, found, _, scene = asked(THREE_AND_ELEVEN % "5 gal" + "layout: {sump: {full: 60 L}}\n")
    drinks = [row.drinks_l for row in found.days]

    assert scene.skies[0].drinks_l == tuple(max(of_pot) for of_pot in zip(*drinks, strict=True))
    assert Play(scene).run().sump_low_at is None


def test_where_no_plan_carries_a_pot_none_is_suggested() -> None:
    """Half a gallon of coarse perlite has 0.2 L that are easy to take, and a tomato drinks that in a few minutes."""
    settings, found, told, scene = asked(THREE_AND_ELEVEN % "0.5 gal")

    assert told.pot == 0
    assert suggested(settings, scene, found, told) is None


def test_no_cycle_is_suggested_that_the_longest_run_would_cut() -> None:
    """10 L/h are a sixth of a litre a minute; 1.5 L of line fill at 14 times that."""
    settings, found, told, scene = asked(
        THREE_AND_ELEVEN % "15 gal" + "layout: {outlet_flow: 10 L/h}\nlimits: {longest_run: 3 min}\n"
    )
    plan = suggested(settings, scene, found, told)

    assert told.seconds > 180
    assert plan is not None
    assert plan.seconds <= 180
    assert plan.cycles * (plan.seconds - 60 * 1.5 / (14 / 6)) / 60 / 6 >= scene.skies[0].drinks_l[0]


def test_a_pot_whose_outlet_gives_nothing_is_no_reason_for_another_plan() -> None:
    settings, _, _, scene = asked(THREE_AND_ELEVEN % "5 gal")
    pots = (replace(settings.figures.pots[0], flow_l_per_min=0.0), *settings.figures.pots[1:])
    found = Play(replace(scene, figures=replace(scene.figures, pots=pots))).run()

    assert found.pots_wilted_h[0] > 0
    assert 0 not in unhelped(found.pots_wilted_h, found)


def test_a_suggested_plan_keeps_all_else_of_the_file() -> None:
    settings = parse(THREE_AND_ELEVEN % "5 gal" + "limits: {rest: 7 min}\n", "t.yaml")
    new = replanned(settings, 6, 90.4)

    assert new.limits.rest_s == 420
    assert new.figures == settings.figures
    assert [window.seconds for window in new.plan.windows] == [90.0]
    assert len(cycles_of_day(new.plan, FIRST)) == 6
