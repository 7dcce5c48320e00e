"""Whole beds: the reference networks as layouts, fifty random ones beside EPANET, and what nature asks of any."""

import csv
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest
import yaml
from tests.bed.engine import WATER_C, Engine

from waaler.bed.friction import Regime
from waaler.bed.layout import Law, Layout, Leg, Piece, Tube, opening_of, pinch_k, watering, with_tubes
from waaler.bed.network import NoFlow
from waaler.bed.pump import from_label, from_three_points
from waaler.bed.water import density_kg_per_m3, dynamic_viscosity_pa_s, kinematic_viscosity_m2_per_s

REFERENCE = Path(__file__).parents[1] / "reference"
M3_PER_S = 1 / 3.6e6


# --- water ------------------------------------------------------------------------------------


def test_water_is_as_heavy_and_as_thick_as_the_table_says() -> None:
    lines = (REFERENCE / "water_properties.csv").read_text().splitlines()
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        celsius = float(row["t_C"])
        assert density_kg_per_m3(celsius) == pytest.approx(float(row["density_kg_per_m3"]), rel=1e-5)
        assert dynamic_viscosity_pa_s(celsius) == pytest.approx(float(row["dynamic_viscosity_Pa_s"]), rel=1e-4)
        expected = float(row["kinematic_viscosity_m2_per_s"])
        assert kinematic_viscosity_m2_per_s(celsius) == pytest.approx(expected, rel=1e-4)


# --- the reference networks -------------------------------------------------------------------


def as_layout(data: dict[str, Any]) -> Layout:
    """A reference network in the layout's words: hose or header, legs along them, a tube to every pot."""
    none, some, much = data["pump"]["curve_L_per_h_m"]
    pump = from_three_points(none[1], (some[0] * M3_PER_S, some[1]), (much[0] * M3_PER_S, much[1]))
    pipes = {pipe["id"]: pipe for pipe in data["pipes"]}
    line_m = data["nodes"][0]["elevation_m"]
    ends = {outlet["id"]: outlet["elevation_m"] - line_m for outlet in data["outlets"]}
    tubes = {p["from"]: tube(p, ends[p["to"]]) for p in pipes.values() if p["to"] in ends}
    legs, header, hose = [], None, None
    for pipe in pipes.values():
        if pipe["to"] in ends:
            continue
        if pipe["to"].startswith("H"):
            piece = Piece(pipe["length_m"], pipe["id_mm"] / 1000, pipe["K"])
            hose, header = (piece, None) if hose is None else (hose, piece)
        elif pipe["from"][0] in "SH":
            legs.append(Leg((tubes[pipe["to"]],), (pipe["length_m"],), pipe["id_mm"] / 1000, pipe["K"], header))
            header = None
        else:
            leg = legs[-1]
            gaps_m = (*leg.gaps_m, pipe["length_m"])
            legs[-1] = replace(leg, tubes=(*leg.tubes, tubes[pipe["to"]]), gaps_m=gaps_m)
    c = next(iter(pipes.values())).get("C")
    hose = hose or Piece(1e-6, 0.05)
    return Layout(pump, line_m - data["sump_level_m"], hose, tuple(legs), Law(hazen_williams_c=c), WATER_C)


def tube(pipe: dict[str, Any], end_m: float) -> Tube:
    return Tube(pipe["id_mm"] / 1000, pipe["length_m"], end_m, pipe["K"])


@pytest.mark.parametrize("name", ["manifold_06_laminar", "manifold_16_line", "manifold_48_four_legs"])
def test_a_layout_can_say_every_reference_network_and_flows_as_it_does(name: str) -> None:
    """Source: EPANET 2.2 through wntr 1.5.0, see the file; within its own tolerance of 0.5 %."""
    data = yaml.safe_load((REFERENCE / f"{name}.yaml").read_text())
    found = watering(as_layout(data))
    expected = list(data["results"]["outlet_flow_L_per_h"].values())

    assert [60 * flow for flow in found.outlets_l_per_min] == pytest.approx(expected, rel=0.005)
    assert 60 * found.flow_l_per_min == pytest.approx(data["results"]["pump_flow_L_per_h"], rel=0.005)


# --- random beds ------------------------------------------------------------------------------


def random_layout(seed: int) -> Layout:
    """Any bed that somebody may build: one to four legs, some of them rings, tubes of all kinds, a few pinched."""
    chance = Random(seed)
    legs = [_random_leg(chance, n) for n in range(chance.randint(1, 4))]
    law = Law() if chance.random() < 0.7 else Law(hazen_williams_c=chance.choice((130.0, 140.0, 150.0)))
    flow = sum(len(leg.tubes) for leg in legs) * chance.uniform(60, 140)
    pump = from_label(flow * M3_PER_S, chance.uniform(1.2, 5.0))
    hose = Piece(chance.uniform(0.5, 4.0), chance.choice((0.013, 0.016, 0.02, 0.025)), chance.uniform(0.5, 4.0))
    return Layout(pump, chance.uniform(0.1, 0.8), hose, tuple(legs), law, WATER_C)


def _random_leg(chance: Random, number: int) -> Leg:
    count, bore_m = chance.randint(2, 20), chance.choice((0.0136, 0.01524, 0.016, 0.02))
    tubes = tuple(
        Tube(
            chance.choice((0.004, 0.004, 0.003, 0.006)),
            chance.uniform(0.1, 0.8),
            chance.uniform(-0.1, 0.3),
            chance.uniform(1.5, 3.0),
            chance.choice((1.0, 1.0, 0.6, 0.3)),
        )
        for _ in range(count)
    )
    gaps_m = tuple(chance.uniform(0.2, 0.6) for _ in range(count))
    header = None if number == 0 else Piece(chance.uniform(0.5, 2.0), 0.025)
    return Leg(
        tubes, gaps_m, bore_m, chance.uniform(0, 2), header, chance.choice((None, None, chance.uniform(1, 4)))
    )


@pytest.mark.parametrize("seed", range(50))
def test_a_random_bed_flows_as_the_engine_says(seed: int) -> None:
    """EPANET 2.2's own engine; 0.5 %, or 1 % where a pipe lies between laminar and turbulent.

    An end that gives under a tenth of the fullest hangs on millimetres of head, and is held to that tenth's tolerance.
    """
    layout = random_layout(seed)
    engine = Engine(layout)
    expected = engine.outlets_l_per_min()
    engine.close()
    found = watering(layout)
    tolerance = 0.01 if Regime.TRANSITION in found.regimes else 0.005

    assert list(found.outlets_l_per_min) == pytest.approx(
        expected, rel=tolerance, abs=0.1 * tolerance * max(expected)
    )


# --- what holds for any bed -------------------------------------------------------------------


def line(count: int = 16, **tube_changes: float) -> Layout:
    one = replace(Tube(0.004, 0.1524, 0.05, 2.5), **tube_changes)  # type: ignore[arg-type]
    leg = Leg((one,) * count, (1.3, *[0.45] * (count - 1)), 0.01524, 1.5)
    pump = from_three_points(2.4, (757 * M3_PER_S, 1.8), (1514 * M3_PER_S, 0.01))
    return Layout(pump, 0.3, Piece(0.01, 0.01524), (leg,))


def test_a_pump_that_cannot_lift_says_by_how_much() -> None:
    with pytest.raises(NoFlow, match=r"above the pump's shut-off head 1.8 m"):
        watering(replace(line(), pump=from_label(1e-3, 1.8), lift_m=2.1))


def test_an_end_that_stands_above_the_head_is_dry_and_named() -> None:
    layout = line(4)
    tubes = list(layout.tubes)
    tubes[2] = replace(tubes[2], end_m=2.6)

    assert watering(with_tubes(layout, tuple(tubes))).dry == (3,)


def test_a_ring_evens_out_what_a_line_does_not() -> None:
    straight = watering(line()).outlets_l_per_min
    ring = watering(replace(line(), legs=(replace(line().legs[0], back_m=1.0),))).outlets_l_per_min

    assert max(ring) / min(ring) < max(straight) / min(straight)


def test_warm_water_flows_faster_through_long_thin_tubes() -> None:
    cold = replace(line(length_m=3.0, bore_m=0.002), water_c=5.0)

    assert watering(replace(cold, water_c=30.0)).flow_l_per_min > watering(cold).flow_l_per_min
    assert set(watering(cold).regimes) == {Regime.LAMINAR}


def test_a_pinch_and_its_opening_are_each_others_inverse() -> None:
    assert pinch_k(1.0) == pytest.approx(0.0)
    for opening in (0.05, 0.3, 0.5, 0.9):
        assert opening_of(pinch_k(opening)) == pytest.approx(opening, rel=1e-6)
    assert opening_of(-1.0) == 1.0


def test_christiansens_reduction_holds_for_a_line_of_tiny_outlets() -> None:
    """F of tests/reference/christiansen_F.csv for 16 outlets and m = 1.852: loss along the line over a plain pipe's.

    Tubes so thin that all give the same; Hazen-Williams, the first outlet a full spacing from the inlet.
    """
    tiny = Tube(0.0005, 0.5, 0.0, 0.0)
    leg = Leg((tiny,) * 16, (0.5,) * 16, 0.005)
    layout = Layout(from_label(1e-3, 3.0), 0.1, Piece(1e-6, 0.05), (leg,), Law(hazen_williams_c=150.0))
    found = watering(layout)
    flow = found.flow_l_per_min / 60_000
    plain_m = 10.67 * 8.0 * flow**1.852 / (150.0**1.852 * 0.005**4.871)
    lost_m = found.head_m - layout.lift_m - found.heads_m[-1]

    assert max(found.outlets_l_per_min) / min(found.outlets_l_per_min) < 1.01
    assert lost_m / plain_m == pytest.approx(0.3825, rel=0.01)


def test_what_hose_and_line_hold_is_their_volume() -> None:
    """7.05 m of 0.600 in bore hold 1.286 L. Source: tests/reference/volumes.yaml, exact arithmetic."""
    leg = Leg((Tube(0.004, 0.15, 0.05, 2.5),) * 2, (3.0, 4.05), 0.01524)

    assert replace(line(), hose=Piece(1e-9, 0.01), legs=(leg,)).pipes_l == pytest.approx(1.28602, rel=1e-4)


def test_about_sixteen_outlets_want_a_pump_near_400_gallons_an_hour() -> None:
    """Common practice, no source: 1514 L/h at no lift for sixteen outlets, some 60 L/h each at a working lift."""
    found = watering(line())

    assert 45 < 60 * sum(found.outlets_l_per_min) / 16 < 95
