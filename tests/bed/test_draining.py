"""A tray that empties: hand-computed times, and a general solver of differential equations beside every case."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from waaler.bed.draining import litres_after


def test_a_closed_drain_keeps_all() -> None:
    assert litres_after(7.0, 3.0, 2.0, 0.0) == 13.0


def test_without_inflow_it_is_empty_after_twice_the_root_by_the_drain() -> None:
    """Torricelli: the time is 2 sqrt(V) / k, and half of it leaves a quarter."""
    assert litres_after(9.0, 0.0, 3.0, 2.0) == 0.0
    assert litres_after(9.0, 0.0, 1.5, 2.0) == pytest.approx(9.0 / 4)


def test_where_inflow_and_outflow_are_even_it_stands_still() -> None:
    assert litres_after(25.0, 10.0, 5.0, 2.0) == 25.0


@given(st.floats(0.0, 200.0), st.floats(0.0, 60.0), st.floats(0.005, 5.0), st.floats(0.05, 12.0))
def test_it_agrees_with_a_general_solver(litres: float, inflow: float, minutes: float, drain: float) -> None:
    """Source: scipy's DOP853 to 1e-10."""
    ours = litres_after(litres, inflow, minutes, drain)
    if inflow == 0 and litres < (drain * minutes / 2) ** 2:
        assert ours == 0
        return

    def change(_: float, volume: list[float]) -> list[float]:
        return [inflow - drain * sqrt(max(0.0, volume[0]))]

    found = solve_ivp(change, (0.0, minutes), [litres], method="DOP853", rtol=1e-10, atol=1e-12)

    assert ours == pytest.approx(found.y[0][-1], rel=1e-6, abs=1e-6)


@given(st.floats(0.0, 200.0), st.floats(0.0, 60.0), st.floats(1e-6, 600.0), st.floats(1e-3, 100.0))
def test_no_more_leaves_than_was_there(litres: float, inflow: float, minutes: float, drain: float) -> None:
    after = litres_after(litres, inflow, minutes, drain)

    assert 0 <= after <= (litres + inflow * minutes) * (1 + 1e-9)


def test_an_inflow_of_next_to_nothing_is_none() -> None:
    assert litres_after(0.0, 2e-311, 5.0, 2.0) == 0.0
    assert litres_after(4.0, 5e-324, 1.0, 2.0) == 1.0
