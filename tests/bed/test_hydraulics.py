"""Friction and networks against general reference libraries; sources stand in tests/reference."""

import csv
from pathlib import Path
from typing import Any

import fluids
import pytest
import yaml

from waaler.bed.friction import Regime, darcy, darcy_factor, hazen_williams, regime
from waaler.bed.network import Flows, Network, NoFlow, Pipe, solve
from waaler.bed.pump import PumpCurve, from_label, from_three_points

REFERENCE = Path(__file__).parents[1] / "reference"
L_PER_H = 1 / 3.6e6


def table(name: str) -> list[dict[str, str]]:
    lines = [line for line in (REFERENCE / name).read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


# --- refusals ---------------------------------------------------------------------------------


def small(lift_m: float, other_lift_m: float | None = None, bore_m: float = 0.004) -> Network:
    """A pump of 1.8 m and 1000 L/h, a line, and two tubes; bore_m: of the first."""
    first = darcy(length_m=0.3, bore_m=bore_m, roughness_m=1.5e-6, minor_k=2.0)
    tube = darcy(length_m=0.3, bore_m=0.004, roughness_m=1.5e-6, minor_k=2.0)
    line = darcy(length_m=2.0, bore_m=0.0152, roughness_m=1.5e-6, minor_k=0.0)
    return Network(
        from_label(1000 * L_PER_H, 1.8), "p", 0.0, {"a": lift_m, "b": lift_m if other_lift_m is None else other_lift_m},
        {"ta": Pipe("p", "a", first), "l": Pipe("p", "n", line), "tb": Pipe("n", "b", tube)},
    )  # fmt: skip


def test_a_lift_above_the_shut_off_head_is_told() -> None:
    with pytest.raises(NoFlow, match=r"^lift 2.1 m is above the pump's shut-off head 1.8 m$"):
        solve(small(2.1))


@pytest.mark.parametrize("points", [((0.0, 3.0), (2.0, 1.0)), ((1.0, 1.0), (2.0, 3.0)), ((2.0, 3.0), (1.0, 1.0))])
def test_a_pump_curve_that_does_not_fall_is_refused(points: Any) -> None:
    with pytest.raises(ValueError, match="more flow and less head"):
        from_three_points(4.0, *points)


# --- friction ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "row", table("friction_factor.csv"), ids=lambda row: f"{row['reynolds']} {row['relative_roughness']}"
)
def test_the_friction_factor_is_swamee_and_jains(row: dict[str, str]) -> None:
    reynolds = float(row["reynolds"])
    if reynolds <= 4000:  # there the cubic ends
        return

    assert darcy_factor(reynolds, float(row["relative_roughness"])) == pytest.approx(
        float(row["f_swamee_jain"]), rel=1e-3
    )


@pytest.mark.parametrize(
    "row", table("friction_small_tube.csv"), ids=lambda row: f"{row['tube_id_mm']} {row['flow_L_per_h']}"
)
def test_small_tubes_lose_what_the_reference_says(row: dict[str, str]) -> None:
    bore_m, flow = float(row["tube_id_mm"]) / 1000, float(row["flow_L_per_h"]) * L_PER_H
    reynolds = float(row["reynolds"])

    assert regime(reynolds).value.startswith(row["regime"].replace("transition", "in trans"))
    if row["head_loss_m_per_m"]:
        tolerance = 1e-3 if row["regime"] == "laminar" else 3e-2  # Colebrook there, Swamee and Jain here
        found = darcy(1.0, bore_m, 1.5e-6, 0.0, viscosity_m2_per_s=1.0034e-6)(flow)[0]
        assert found == pytest.approx(float(row["head_loss_m_per_m"]), rel=tolerance)


@pytest.mark.parametrize("reynolds", [10.0, 100.0, 1000.0, 1999.0, 4.1e3, 1e4, 5e4, 1e5, 1e6])
@pytest.mark.parametrize("relative_roughness", [1e-6, 1e-4, 1e-3])
def test_the_factor_is_that_of_a_general_library(reynolds: float, relative_roughness: float) -> None:
    """Source: fluids, laminar and its own Swamee-Jain; and its Colebrook solution, whose fit this is, within 3 %."""
    ours = darcy_factor(reynolds, relative_roughness)
    if reynolds < 2000:
        assert ours == pytest.approx(fluids.friction_laminar(reynolds), rel=1e-12)
        return
    same = fluids.friction_factor(Re=reynolds, eD=relative_roughness, Method="Swamee_Jain_1976")
    assert ours == pytest.approx(same, rel=1e-3)
    assert ours == pytest.approx(fluids.friction_factor(Re=reynolds, eD=relative_roughness), rel=0.03)


@pytest.mark.parametrize("row", table("friction_published_sch40.csv"), ids=lambda row: str(list(row.values())[:3]))
def test_a_published_pipe_table_is_met(row: dict[str, str]) -> None:
    """Illinois Administrative Code 77, part 906, appendix A, exhibit I (C = 150): 0.02 ft or 3 %, from 2 gpm on."""
    gallons_per_min = float(row["flow_gpm"])
    if gallons_per_min < 2:
        return
    bore_m, flow = 0.0254 * float(row["inside_diameter_in"]), gallons_per_min * 3.785411784e-3 / 60
    published = float(row["published_ft_per_100ft"])

    found = hazen_williams(100.0, bore_m, float(row["C"]), 0.0)(flow)[0]
    assert found == pytest.approx(published, abs=max(0.02, 0.03 * published))


@pytest.mark.parametrize("flow_l_per_h", [1.0, 20.0, 40.0, 60.0, 100.0, 500.0])
def test_the_slope_of_a_loss_is_its_derivative(flow_l_per_h: float) -> None:
    flow = flow_l_per_h * L_PER_H
    for loss in (darcy(0.5, 0.004, 1.5e-6, 2.0), hazen_williams(0.5, 0.004, 150.0, 2.0)):
        step = 1e-5 * flow
        numeric = (loss(flow + step)[0] - loss(flow - step)[0]) / (2 * step)
        assert loss(flow)[1] == pytest.approx(numeric, rel=1e-3)


def test_a_four_millimetre_tube_follows_hagen_and_poiseuille() -> None:
    """h = 128 nu L Q / (g pi d^4), exact in laminar flow."""
    flow, nu = 10 * L_PER_H, 1.00337e-6
    expected = 128 * nu * 0.5 * flow / (9.80665 * 3.141592653589793 * 0.004**4)

    assert darcy(0.5, 0.004, 1.5e-6, 0.0)(flow)[0] == pytest.approx(expected, rel=1e-9)


def test_the_factor_is_continuous_over_the_transition() -> None:
    assert darcy_factor(2000.0, 1e-4) == pytest.approx(64 / 2000, rel=1e-3)
    assert darcy_factor(4000.0, 1e-4) == pytest.approx(darcy_factor(4000.0001, 1e-4), rel=1e-3)
    assert regime(3000) is Regime.TRANSITION


# --- networks ---------------------------------------------------------------------------------


def network(data: dict[str, Any]) -> Network:
    """A reference network in our terms, with the reference's own viscosity and gravity."""
    shut_off, duty, end = data["pump"]["curve_L_per_h_m"]
    gravity, viscosity = data["model"]["gravity_m_per_s2"], data["model"]["kinematic_viscosity_m2_per_s"]
    pipes = {}
    for pipe in data["pipes"]:
        size = {"length_m": pipe["length_m"], "bore_m": pipe["id_mm"] / 1000, "minor_k": pipe["K"]}
        if "C" in pipe:
            loss = hazen_williams(**size, c=pipe["C"], gravity_m_per_s2=gravity)
        else:
            loss = darcy(
                **size, roughness_m=pipe["roughness_mm"] / 1000, viscosity_m2_per_s=viscosity,
                gravity_m_per_s2=gravity,
            )  # fmt: skip
        pipes[pipe["id"]] = Pipe(pipe["from"], pipe["to"], loss)
    return Network(
        from_three_points(shut_off[1], (duty[0] * L_PER_H, duty[1]), (end[0] * L_PER_H, end[1])),
        data["pump"]["to"],
        data["sump_level_m"],
        {outlet["id"]: outlet["elevation_m"] for outlet in data["outlets"]},
        pipes,
    )


@pytest.mark.parametrize("name", ["manifold_06_laminar", "manifold_16_line", "manifold_48_four_legs"])
def test_manifolds_flow_as_the_reference_engine_says(name: str) -> None:
    data = yaml.safe_load((REFERENCE / f"{name}.yaml").read_text())
    made = network(data)

    found = solve(made)

    for outlet, expected in data["results"]["outlet_flow_L_per_h"].items():
        assert found.outlet(made, outlet) / L_PER_H == pytest.approx(expected, rel=0.005), outlet
    assert found.pump_m3_per_s / L_PER_H == pytest.approx(data["results"]["pump_flow_L_per_h"], rel=0.005)
    assert found.pump_head_m == pytest.approx(data["results"]["pump_head_m"], rel=0.005)


def balance(made: Network, found: Flows) -> float:
    """How far what the pump gives and what the outlets give are apart, as a share."""
    given = sum(found.outlet(made, name) for name in made.outlets_m)
    return abs(given - found.pump_m3_per_s) / found.pump_m3_per_s


def test_what_the_pump_lifts_comes_out() -> None:
    made = small(0.6)

    assert balance(made, solve(made)) < 1e-6


def test_a_ring_of_line_feeds_from_both_sides() -> None:
    made = small(0.6)
    line = made.pipes["l"].loss
    ring = Network(made.pump, "p", 0.0, made.outlets_m, {**made.pipes, "l2": Pipe("p", "n", line)})

    found = solve(ring)

    assert found.pipes_m3_per_s["l"] == pytest.approx(found.pipes_m3_per_s["l2"])
    assert found.outlet(ring, "b") > solve(made).outlet(made, "b")
    assert balance(ring, found) < 1e-6


def test_an_open_end_above_the_head_is_dry_and_sucks_nothing() -> None:
    made = small(0.3, other_lift_m=1.7, bore_m=0.012)

    found = solve(made)

    assert found.dry == {"b"}
    assert found.outlet(made, "b") == 0.0
    assert balance(made, found) < 1e-6


def test_the_label_curve_meets_both_figures() -> None:
    curve = from_label(2.0, 3.0)

    assert curve == PumpCurve(3.0, 0.75, 2.0)
    assert curve.head_m(0.0) == 3.0
    assert curve.free_flow_m3_per_s == pytest.approx(2.0)
