"""Rehearsed stories: each fault does what it says, and the tool does about it what it should."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from math import inf
from pathlib import Path

import pytest
from tests.campaign.__main__ import EXAMPLE, campaign_scene

from waaler.bed.crops import Crop, Stages
from waaler.bed.demand import Shelter, Site
from waaler.bed.figures import Figures
from waaler.bed.thirst import Thirst
from waaler.bed.weather import DayWeather
from waaler.core.facts import Cause, Fact, Outcome, RunIntent, RunResult
from waaler.core.memory import Memory
from waaler.guard.journal import Found
from waaler.guard.messages import Instant
from waaler.model.bed import total_l
from waaler.model.faults import FAULTS, Fault, UnknownFault
from waaler.model.sky import Sky, air_by_hour
from waaler.model.world import World
from waaler.plan.sensing import Adviser, AdviserKind
from waaler.plan.types import ClockMoment, Evenly, OnDemand, PerDemand, PerLight, Window
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene
from waaler.rehearsal.script import FaultTextError, fault, story
from waaler.rehearsal.skies import skies
from waaler.settings import SettingsError, load
from waaler.settings.build_site import site, weather

DAY_S = 86_400.0
SCENE = replace(campaign_scene(days=3.0), skies=())


def play(*faults: Fault, scene: Scene = SCENE) -> Findings:
    return Play(replace(scene, faults=faults)).run()


# --- how faults are written -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("blocked-drain", "'blocked-drain' is no fault; write NAME@3d, NAME@3d+10:00 or NAME@3d+10:00..12h"),
        ("blocked-drain@", "'blocked-drain@' is no fault; write NAME@3d, NAME@3d+10:00 or NAME@3d+10:00..12h"),
        ("blocked-drane@1d", "no fault is called 'blocked-drane'; write blocked-drain"),
        ("zzz@1d", "no fault is called 'zzz'; see `waaler rehearse --faults`"),
    ],
)
def test_a_text_that_is_no_fault_is_told_with_what_to_write(text: str, told: str) -> None:
    with pytest.raises(FaultTextError) as caught:
        fault(text)

    assert str(caught.value) == told


def test_a_fault_that_is_not_known_cannot_be_made() -> None:
    with pytest.raises(UnknownFault):
        Fault("zzz", 0.0, 1.0)


@pytest.mark.parametrize(
    ("text", "starts_s", "ends_s"),
    [
        ("leak@3d", 3 * DAY_S, 3 * DAY_S + 1e12),
        ("leak@3d+10:30..12h", 3 * DAY_S + 37_800, 3 * DAY_S + 37_800 + 43_200),
        ("leak@06:00..30min", 21_600.0, 23_400.0),
    ],
)
def test_days_time_and_length_of_a_fault(text: str, starts_s: float, ends_s: float) -> None:
    assert fault(text) == Fault("leak", starts_s, ends_s)


# --- what each does ---------------------------------------------------------------------------


def test_without_faults_nothing_trips_and_nothing_wilts() -> None:
    found = play()

    assert found.trips == []
    assert found.alerts == []
    assert not found.does_starve


def test_a_blocked_drain_trips_the_tray_and_nobody_is_told_to_refill() -> None:
    found = play(Fault("blocked-drain", DAY_S, 9e9))

    assert "tray too full: is the drain blocked?" in {reason for _, reason in found.trips}
    assert any("Do NOT add water" in text for _, text in found.alerts)
    assert not any("refill to the full mark" in text for _, text in found.alerts)
    assert found.spilled_l == 0.0


def test_a_leak_empties_the_sump_and_says_so() -> None:
    found = play(Fault("leak", 0.0, 9e9), scene=replace(SCENE, days=5.0))

    assert found.sump_low_at is not None
    assert any("Sump low at rest" in text for _, text in found.alerts)


def test_a_dead_pump_lifts_nothing() -> None:
    found = play(Fault("dead-pump", 0.0, 9e9))

    assert found.lifted_l == 0.0
    assert found.counts[Outcome.DONE] > 0


@pytest.mark.parametrize("name", ["probe-dead", "probe-stuck", "probe-in-wet-pot", "probe-jumps", "puddle"])
def test_no_probe_starves_the_bed(name: str) -> None:
    found = play(Fault(name, 0.0, 9e9))

    assert not found.does_starve
    assert found.counts.get(Outcome.SKIPPED, 0) <= found.counts[Outcome.DONE]


def test_a_float_that_chatters_in_every_run_starves_nothing() -> None:
    found = play(Fault("sump-float-chatters", 0.0, 9e9))

    assert found.trips
    assert not found.does_starve or found.driest_percent > found.wilting_percent / 2


def test_after_a_power_cut_the_bed_is_watered_again() -> None:
    found = play(Fault("power-cut", 0.5 * DAY_S, 1.2 * DAY_S))

    assert found.counts[Outcome.DONE] >= 8
    assert not found.does_starve


def test_every_fault_has_words() -> None:
    assert all(len(what) > 10 for what in FAULTS.values())


def drinking(litres: float) -> Figures:
    """The scene's bed with other plants."""
    figures = SCENE.figures
    return replace(figures, pots=tuple(replace(pot, drink_l_per_day=litres, crop=None) for pot in figures.pots))


def test_a_bed_that_drinks_next_to_nothing_foresees_no_low_sump() -> None:
    book = SCENE.care.book
    assert book is not None
    care = replace(SCENE.care, book=replace(book, drinks_l=lambda _: (1e-9,) * 14))
    found = play(scene=replace(SCENE, figures=drinking(1e-9), care=care))

    assert found.sump_low_expected is None


# --- weather ------------------------------------------------------------------------------------


def test_in_a_heat_wave_the_plants_drink_more_and_the_thermometer_shows_it() -> None:
    def sky(drink_l: float, mean_c: float) -> Sky:
        return Sky((drink_l,) * 14, air_c=air_by_hour(mean_c, 6.0))

    warm, hot = (sky(1.2, 22.0), sky(1.2, 22.0)), (sky(1.8, 31.0), sky(2.4, 36.0))
    usual, wave = play(scene=replace(SCENE, skies=warm)), play(scene=replace(SCENE, skies=hot))

    assert usual.drunk_l == pytest.approx(3 * 14 * 1.2, rel=0.01)
    assert wave.drunk_l == pytest.approx(14 * (1.8 + 2.4 + 2.4), rel=0.01)  # the last sky stays
    world = World(SCENE.bed(), (), 12.0, 1, skies=hot)
    assert world.air_c == pytest.approx(31 + 6 * 0.7071, abs=0.01)
    world.go_to(86_400.0)
    assert world.air_c == pytest.approx(36 + 6 * 0.7071, abs=0.01)


def test_skies_follow_the_crops_or_the_files_figure_with_some_more_for_each_degree() -> None:
    figures = drinking(1.0)
    bare = Site(45.0, 100.0)
    days = skies(bare, figures, date(2026, 7, 1), 2.5, lambda _day: DayWeather(28.0, 14.0), 5.0)

    assert len(days) == 3
    assert days[0].drinks_l == pytest.approx((1.2,) * 14)
    assert days[0].air_c == pytest.approx(air_by_hour(26.0, 7.0))
    crop = Crop("beans", Stages((1, 1, 400, 1), 1.0, 0.3), date(2026, 5, 1), 0.5, 1.5, 2.5)
    grown = replace(figures, pots=tuple(replace(pot, crop=crop) for pot in figures.pots))
    cool, warm = (
        skies(bare, grown, date(2026, 7, 1), 1, lambda _day: DayWeather(28.0, 14.0), heat) for heat in (0.0, 6.0)
    )
    assert warm[0].drinks_l[0] > 1.1 * cool[0].drinks_l[0]


# --- the person ---------------------------------------------------------------------------------


def test_a_person_who_is_told_of_a_low_sump_fills_it_and_the_season_goes_on() -> None:
    thirsty = replace(SCENE, days=12.0, figures=drinking(3.0))
    alone = play(scene=thirsty)
    helped = play(scene=replace(thirsty, refill_after_s=6 * 3600.0))

    assert alone.refills == []
    assert alone.does_starve
    assert len(helped.refills) >= 2
    assert not helped.does_starve
    poured_l = sum(litres for _, litres in helped.refills)
    assert 100 < poured_l <= 12 * 14 * 3.0 + 0.001


def test_what_is_poured_is_neither_made_nor_lost() -> None:
    world = World(SCENE.bed(), (), 0.0, 1)
    before_l = total_l(world.water)
    assert world.fill() == 0.0
    world.water = replace(world.water, sump_l=50.0, tray_l=30.0)
    held_l = total_l(world.water)
    litres = world.fill()

    assert litres == pytest.approx(
        SCENE.figures.sump_full_l - 80.0
    )  # what the tray still holds comes back by itself
    assert total_l(world.water) == pytest.approx(held_l + litres)
    assert before_l > 0


def test_a_power_cut_in_the_midst_of_flapping_power_ends_and_the_bed_is_watered_after_both() -> None:
    found = play(Fault("power-flaps", 0.2 * DAY_S, 1.2 * DAY_S), Fault("power-cut", 0.4 * DAY_S, 0.9 * DAY_S))

    assert found.counts[Outcome.DONE] >= 5


# --- the whole --------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_in_a_fortnight_of_faults_no_water_is_made_or_lost(seed: int) -> None:
    """To 1e-9 of all the water: what is there at the end, what left, and what was poured."""
    story = (
        Fault("leak", 1.2 * DAY_S, 1.9 * DAY_S),
        Fault("blocked-drain", 3 * DAY_S, 3.8 * DAY_S),
        Fault("outlet-clogged", 4 * DAY_S, 9e9),
        Fault("tube-off", 5 * DAY_S, 5.5 * DAY_S),
        Fault("power-cut", 6.3 * DAY_S, 6.9 * DAY_S),
        Fault("sump-float-chatters", 8 * DAY_S, 9 * DAY_S),
        Fault("welded-relay", 10 * DAY_S, 10.02 * DAY_S),
    )
    played = Play(replace(campaign_scene(days=14.0), faults=story, seed=seed, refill_after_s=6 * 3600.0))
    before_l = total_l(played.world.water)
    found = played.run()

    poured_l = sum(litres for _, litres in found.refills)
    assert found.refills
    assert found.spilled_l > 10
    assert total_l(played.world.water) == pytest.approx(before_l + poured_l, rel=1e-9)


def test_a_pot_behind_a_clogged_outlet_is_named_as_the_driest() -> None:
    found = play(Fault("outlet-clogged", 0.0, 9e9), scene=campaign_scene(days=3.0))

    assert found.driest_pot == 14
    assert found.pots_driest_percent[-1] < min(found.pots_driest_percent[:-1])


def test_a_story_is_read_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "august.yaml"
    file.write_text("faults:\n  - blocked-drain@3d+10:00..12h\n  - power-cut@5d..6h\n")

    assert story(file) == (fault("blocked-drain@3d+10:00..12h"), fault("power-cut@5d..6h"))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "1:1: this is no story; write `faults:` and a list of NAME@3d..12h"),
        ("faults: leak@1d\n", "1:1: this is no story; write `faults:` and a list of NAME@3d..12h"),
        ("faults:\n  - leak@1d\n  - leek@2d\n", "3:5: no fault is called 'leek'; write leak"),
        ("faults:\n  - {a: b}\n", "2:5: '' is no fault; write NAME@3d, NAME@3d+10:00 or NAME@3d+10:00..12h"),
    ],
)
def test_a_story_that_makes_no_sense_is_told_with_its_place(tmp_path: Path, text: str, told: str) -> None:
    file = tmp_path / "august.yaml"
    file.write_text(text)
    with pytest.raises(SettingsError) as caught:
        story(file)

    assert str(caught.value) == f"{file}:{told}"


def test_a_story_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        story(tmp_path / "none.yaml")


def test_measured_hours_shape_the_day() -> None:
    measured = DayWeather(
        25.0, 14.0, hours_c=tuple(map(float, range(24))), hours_mj_per_m2=(0.0,) * 11 + (2.0,) * 2 + (0.0,) * 11
    )
    (sky,) = skies(Site(45.0, 100.0, Shelter(0.5)), SCENE.figures, date(2026, 7, 1), 1, lambda _day: measured, 3.0)

    assert sky.shares[11] == sky.shares[12] == 0.5
    assert sky.air_c[5] == 8.0


def test_light_is_what_reaches_the_plants() -> None:
    day = DayWeather(25.0, 14.0, radiation_mj_per_m2=20.0)
    (sky,) = skies(Site(45.0, 100.0, Shelter(0.5)), SCENE.figures, date(2026, 7, 1), 1, lambda _day: day)

    assert sky.light_mj_per_m2 == 10.0


# --- by light and by demand -------------------------------------------------------------------------


def on_demand(trigger: PerLight | PerDemand, scene: Scene) -> Scene:
    rule = OnDemand(trigger, ClockMoment(6 * 60), ClockMoment(21 * 60), 1800.0, 20)
    window = Window("sun", Evenly(3, ClockMoment(7 * 60), ClockMoment(19 * 60)), 150.0, on_demand=rule)
    roof = Adviser("roof", AdviserKind.LIGHT, lowest=-1.0, highest=2000.0, most_change_per_min=inf)
    plan = replace(scene.plan, windows=(window,))
    return replace(scene, plan=plan, sensing=replace(scene.sensing, advisers=(*scene.sensing.advisers, roof)))


def causes(scene: Scene) -> Counter[Cause]:
    """Of the runs that were done."""
    heard: list[Fact] = []

    class Ears(Keeper):
        def keep(self, facts: Sequence[Fact]) -> None:
            heard.extend(facts)

    Play(scene, Ears()).run()
    wanted = {fact.run_id: fact.cause for fact in heard if isinstance(fact, RunIntent)}
    results = (fact for fact in heard if isinstance(fact, RunResult))
    return Counter(wanted[result.run_id] for result in results if result.outcome is Outcome.DONE)


class Keeper:
    """Keeps nothing, and knows nothing at a boot."""

    def keep(self, facts: Sequence[Fact]) -> None: ...

    def sample(self, name: str, unit: str, wall_s: float, value: float) -> None: ...

    def memory(self, boot: str, at: Instant, found: Found) -> Memory:
        return Memory()

    def lose(self) -> None: ...


def test_by_light_a_bright_day_has_more_cycles_than_a_dull_one_and_a_dead_sensor_the_windows_own() -> None:
    scene = replace(campaign_scene(days=2.0), faults=())
    bright = tuple(replace(sky, light_mj_per_m2=18.0) for sky in scene.skies)
    dull = tuple(replace(sky, light_mj_per_m2=5.0) for sky in scene.skies)
    by_light = on_demand(PerLight("roof", 1.5), scene)
    sunny, cloudy = (causes(replace(by_light, skies=skies)) for skies in (bright, dull))
    blind = causes(replace(by_light, skies=bright, faults=(Fault("light-dead", 0.0, 9e9),)))

    assert sunny[Cause.ON_DEMAND] == pytest.approx(2 * 18.0 / 1.5, abs=4)
    assert cloudy[Cause.ON_DEMAND] == pytest.approx(2 * 5.0 / 1.5, abs=2)
    assert blind == {Cause.PLAN: 6}


def test_by_demand_the_bed_gets_a_cycle_for_each_dose_that_its_thirstiest_pot_drank() -> None:
    settings = load(EXAMPLE)
    thirst = Thirst(site(settings.file), settings.figures, weather(settings.file, EXAMPLE.parent), 14.51)
    scene = on_demand(PerDemand(0.2), replace(campaign_scene(days=4.0), thirst=thirst))
    drank_l = 4 * thirst.day_l(date(2026, 7, 2))

    assert causes(scene)[Cause.ON_DEMAND] == pytest.approx(drank_l / 0.2, rel=0.15)


def test_a_dose_whose_time_is_over_is_no_trip() -> None:
    played = Play(SCENE)
    for run_id, seconds, reason in ((1, 40.0, "sump low"), (2, 0.0, "its cycle's time is over")):
        played.notes.take(RunResult(run_id, Instant(0.0, 0.0), Outcome.CUT_SHORT, seconds, reason))

    assert [reason for _, reason in played.notes.findings.trips] == ["sump low"]
