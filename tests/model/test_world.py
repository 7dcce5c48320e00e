"""The simulated bed built from its layout: outlet by outlet, level by level, and with a probe in every pot."""

import tempfile
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from tests.bed.engine import WATER_C, inp_of
from wntr.epanet.toolkit import ENepanet

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout, Leg, Piece, Tube, watering
from waaler.bed.pots import Pot, alike
from waaler.bed.pump import from_label
from waaler.bed.scale import Scale
from waaler.bed.sump import SumpShape, upright
from waaler.bed.wiring import AnalogDevice, AnalogInput, ConverterKind
from waaler.model.bed import Bed, Water, advance, full_bed, total_l
from waaler.model.faults import Fault
from waaler.model.outlets import BANDS, Outlets
from waaler.model.sensors import Probe, seat
from waaler.model.sky import Sky
from waaler.model.world import World
from waaler.plan.sensing import Adviser, AdviserKind

EN_HEAD = 10
POTS = 8
TUBE = Tube(0.004, 0.15, 0.05, 2.5)
LINE = Layout(
    from_label(900 / 3.6e6, 1.6),
    0.5,
    Piece(1.5, 0.013, 1.5),
    (Leg((TUBE,) * POTS, (0.5,) * POTS, 0.013),),
    water_c=WATER_C,
)
FIGURES = Figures(
    pots=tuple(Pot(flow_l_per_min=flow) for flow in watering(LINE).outlets_l_per_min),
    line_l=LINE.pipes_l,
    sump_full_l=120.0,
    sump_low_l=30.0,
    sump_empty_l=20.0,
)
UPRIGHT = upright(0.5, 0.5)


def bed(layout: Layout | None = LINE, shape: SumpShape | None = UPRIGHT, figures: Figures = FIGURES) -> Bed:
    return Bed(figures, Outlets(figures, layout, shape))


def world(*faults: Fault, layout: Layout = LINE) -> World:
    return World(bed(layout), faults, 6.0, seed=1)


# --- flows ------------------------------------------------------------------------------------


def test_a_layout_without_the_sumps_shape_gives_the_same_at_every_level() -> None:
    outlets = Outlets(FIGURES, LINE, None)

    assert outlets.at(25.0) == outlets.at(119.0) == pytest.approx(watering(LINE).outlets_l_per_min)


def test_a_higher_level_gives_more_and_each_band_is_solved_once() -> None:
    outlets = Outlets(FIGURES, LINE, UPRIGHT)
    flows = [sum(outlets.at(litres)) for litres in (20.0, 60.0, 100.0, 500.0)]

    assert flows == sorted(flows)
    assert flows[0] < 0.97 * flows[-1]
    assert outlets.at(60.0) is outlets.at(60.1)


def test_where_the_pump_cannot_lift_the_water_no_pot_gets_any() -> None:
    assert Outlets(FIGURES, replace(LINE, lift_m=2.5), UPRIGHT).at(100.0) == (0.0,) * POTS


def test_two_outlets_in_a_pot_give_both_to_it() -> None:
    four = replace(FIGURES, pots=alike(4, Pot(outlets=2)))
    single = watering(LINE).outlets_l_per_min

    assert Outlets(four, LINE).at(50.0) == pytest.approx([single[2 * n] + single[2 * n + 1] for n in range(4)])


def test_far_pots_of_a_badly_balanced_bed_stay_drier() -> None:
    long = replace(LINE, legs=(Leg((TUBE,) * POTS, (3.0,) * POTS, 0.009),))
    water = Water(sump_l=120.0, media_l=(2.0,) * POTS)

    water = advance(bed(long), water, 60.0, True, Sky((0.0,) * POTS), 12.0)

    assert list(water.media_l) == sorted(water.media_l, reverse=True)
    assert water.media_l[0] - 2.0 > 1.3 * (water.media_l[-1] - 2.0)


def test_a_sump_that_is_drawn_down_falls_as_epanets_tank_does() -> None:
    """Source: EPANET 2.2, extended period, 1 s steps, the sump as its tank; media that take up all."""
    thirsty = replace(FIGURES, pots=alike(POTS, Pot(150.0, 75.0, 5e-7)))
    simulated = bed(figures=thirsty)
    water = Water(sump_l=120.0, media_l=(0.1,) * POTS, line_l=FIGURES.line_l)

    apart_mm = []
    for level_m in _tank_levels(minutes=8):
        water = advance(simulated, water, 60.0, True, Sky((0.0,) * POTS), 12.0)
        apart_mm.append(1000 * abs(water.sump_l / 250.0 - level_m))

    assert water.sump_l < 60.0
    assert max(apart_mm) < 1.5  # of 260 mm that it falls; a band of levels is 17 mm high


def _tank_levels(minutes: int) -> list[float]:
    """At the end of each minute, from 0.48 m on (120 L in a sump of 0.25 m2); the line begins 0.5 m above 20 L."""
    floor_m = -LINE.lift_m - 20.0 / 250.0
    across_m = (4 * 0.25 / 3.141592653589793) ** 0.5
    text = inp_of(LINE).replace(f"SUMP {-LINE.lift_m}\n", "")
    tank = f"[TANKS]\nSUMP {floor_m} 0.48 0.0 1.0 {across_m} 0\n"
    times = f"[TIMES]\nDURATION 0:{minutes:02}\nHYDRAULIC TIMESTEP 0:00:01\nREPORT TIMESTEP 0:01\n[END]"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tank.inp"
        path.write_text(text.replace("[PIPES]", tank + "[PIPES]").replace("[END]", times))
        engine = ENepanet(version=2.2)
        engine.ENopen(str(path), str(path.with_suffix(".rpt")), "")
        engine.ENopenH()
        engine.ENinitH(0)
        levels, node = {}, engine.ENgetnodeindex("SUMP")
        while True:
            now_s = engine.ENrunH()
            levels[now_s] = engine.ENgetnodevalue(node, EN_HEAD) - floor_m
            if engine.ENnextH() <= 0:
                break
        engine.ENcloseH()
        engine.ENclose()
    return [levels[60 * n] for n in range(1, minutes + 1)]


def test_the_level_of_a_shaped_sump_counts_from_the_lowest_pumping_level() -> None:
    """A sump twice as wide has half the depth above the lowest level: half the gain in flow, nearly."""
    wide = Outlets(FIGURES, LINE, upright(1.0, 0.5))
    narrow = Outlets(FIGURES, LINE, UPRIGHT)
    lowest = sum(Outlets(FIGURES, LINE).at(20.0))

    gains = [sum(outlets.at(119.9)) - lowest for outlets in (wide, narrow)]
    assert gains[0] == pytest.approx(gains[1] / 2, rel=0.06)
    assert BANDS == 24


# --- time and faults --------------------------------------------------------------------------


def test_nothing_but_midnight_is_awaited_while_all_is_still() -> None:
    still = world()

    assert still.next_s() == pytest.approx(18 * 3600.0)


def test_a_fault_is_there_from_its_beginning_and_gone_at_its_end() -> None:
    faulty = world(Fault("puddle", 100.0, 200.0))
    seen = []
    for at_s in (50.0, 100.0, 150.0, 200.0):
        faulty.go_to(at_s)
        seen.append("puddle" in faulty.present)

    assert seen == [False, True, True, False]
    assert world(Fault("puddle", 100.0, 200.0)).next_s() == 100.0


def test_a_clogged_outlet_gives_a_tenth_and_its_pot_dries() -> None:
    clogged = world(Fault("outlet-clogged", 0.0, 9e9))
    clogged.water = replace(clogged.water, media_l=(2.0,) * POTS)
    clogged.drive(main=True, cutoff=False)
    clogged.go_to(30.0)

    taken = [litres - 2.0 for litres in clogged.water.media_l]
    assert taken[-1] == pytest.approx(0.1 * watering(LINE).outlets_l_per_min[-1] * taken[0] /
                                      watering(LINE).outlets_l_per_min[0], rel=0.02)  # fmt: skip


def test_the_world_looks_close_where_a_float_is_about_to_turn() -> None:
    steps_s = []
    for sump_l in (119.0, 31.0, 29.5, 29.11):
        moving = world()
        moving.levels()
        moving.water = replace(moving.water, sump_l=sump_l, line_l=FIGURES.line_l)
        moving.drive(main=True, cutoff=False)
        steps_s.append(moving.next_s())

    assert steps_s == sorted(steps_s, reverse=True)
    assert steps_s[0] == 60.0
    assert steps_s[-1] == 0.5


def test_a_refill_is_poured_once_and_brings_its_salts() -> None:
    poured = world(Fault("refill", 10.0, 9e9))
    poured.water = replace(full_bed(poured.bed), sump_l=40.0, salts=0.0)
    for at_s in (5.0, 10.0, 20.0):
        poured.go_to(at_s)

    assert poured.water.sump_l == pytest.approx(100.0)
    assert poured.water.salts == pytest.approx(60.0 * poured.bed.feed.ec, abs=0.01)


def test_who_fills_the_sump_of_a_stronger_solution_pours_weaker() -> None:
    strong = world()
    begin = full_bed(strong.bed)
    strong.water = replace(begin, sump_l=60.0, salts=3.0 * (60.0 + sum(begin.media_l)))

    litres = strong.fill()

    assert litres == pytest.approx(60.0)
    assert 2.0 < strong.water.ec < 3.0
    assert total_l(strong.water) == pytest.approx(total_l(begin))


# --- probes -----------------------------------------------------------------------------------

PROBE = AnalogDevice("pot_2", AnalogInput(0), Scale.of((800.0, 0.0), (400.0, 100.0)))
NAMES = {"corner": 6}


@pytest.mark.parametrize(
    ("name", "place", "pot"),
    [("corner", 0, 6), ("pot_5", 0, 4), ("pot_99", 1, 1), ("south", 2, 2), ("pot_0", 3, 3)],
)
def test_a_probe_sits_where_its_name_says(name: str, place: int, pot: int) -> None:
    assert seat(name, place, POTS, NAMES) == pot


def reading(true: float, *present: str, at_s: float = 0.0, probe: Probe | None = None) -> float | None:
    return (probe or Probe(1, PROBE)).percent(true, frozenset(present), at_s, Random(3))


def test_a_reading_has_gone_through_whole_counts() -> None:
    """A count of this probe is a quarter of a per cent."""
    values = [Probe(1, PROBE).percent(50.0, frozenset(), 0.0, Random(n)) for n in range(20)]

    assert all(value is not None and 4 * value == pytest.approx(round(4 * value)) for value in values)
    assert {value for value in values if value is not None} != {50.0}


def test_a_probe_that_was_never_calibrated_shows_a_share_of_all_counts() -> None:
    raw = Probe(
        0, AnalogDevice("pot_1", AnalogInput(0), Scale.of((0.0, 100.0), (1023.0, 0.0))), is_calibrated=False
    )

    value = raw.percent(100.0, frozenset(), 0.0, Random(1))

    assert value == pytest.approx(100 * (1023 - 380) / 1023, abs=0.3)


def test_a_broken_wire_gives_the_highest_count_which_is_no_reading() -> None:
    assert reading(50.0, "probe-wire-broken") is None
    assert reading(50.0, "probe-dead") is None


def test_a_drifting_probe_reads_drier_day_by_day_from_when_it_began() -> None:
    probe = Probe(1, PROBE)
    reading(80.0, "probe-drifts", at_s=1000.0, probe=probe)

    assert reading(80.0, "probe-drifts", at_s=1000.0 + 5 * 86_400, probe=probe) == pytest.approx(75.0, abs=0.6)
    assert reading(80.0, at_s=6 * 86_400, probe=probe) == pytest.approx(80.0, abs=0.6)


def test_a_slow_probe_has_gone_two_thirds_of_the_way_after_an_hour() -> None:
    probe = Probe(1, PROBE)
    reading(100.0, "probe-slow", at_s=0.0, probe=probe)

    assert reading(50.0, "probe-slow", at_s=3600.0, probe=probe) == pytest.approx(50 + 50 * 0.3679, abs=0.6)


def test_a_noisy_probe_scatters_and_a_stuck_one_stands_still() -> None:
    noisy = [Probe(1, PROBE).percent(50.0, frozenset({"probe-noisy"}), 0.0, Random(n)) or 0.0 for n in range(200)]
    stuck = Probe(1, PROBE)
    first = reading(60.0, probe=stuck)

    assert 4.0 < (sum((value - 50.0) ** 2 for value in noisy) / 200) ** 0.5 < 8.0
    assert reading(20.0, "probe-stuck", probe=stuck) == first


def test_each_probe_reads_its_own_pot() -> None:
    two = world()
    two.water = replace(two.water, media_l=tuple(0.5 * n for n in range(POTS)))
    values = [two.reading(Adviser(f"pot_{n}", AdviserKind.MOISTURE)) for n in (2, 7)]

    assert values == pytest.approx([100 * 0.5 / 5.32, 100 * 3.0 / 5.32], abs=1.0)


def test_a_probe_on_the_finer_converter_has_finer_counts_and_bends_with_its_calibration() -> None:
    bent = Scale.of((26_000.0, 0.0), (18_000.0, 60.0), (12_000.0, 100.0))
    fine = Probe(0, AnalogDevice("pot_1", AnalogInput(0, ConverterKind.I2C), bent))

    assert fine.counts(30.0) == pytest.approx(22_000.0)
    assert fine.counts(80.0) == pytest.approx(15_000.0)
    assert fine.percent(80.0, frozenset(), 0.0, Random(1)) == pytest.approx(80.0, abs=0.6)
