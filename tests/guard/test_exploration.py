"""The exploration finds nothing in the guard, and finds every sabotage of it."""

import pytest
from tests.guard.exploration import ALPHABETS, explore
from tests.guard.sabotages import SABOTAGES, Sabotage, sabotaged

from waaler.guard import contacts
from waaler.guard.step import step

SHORT = 12_000
RUNS = frozenset({"second", "ask 3 s", "sump good", "tray good", "restart"})
LOCKS = RUNS - {"ask 3 s"} | {"ask 1 s by hand", "supply live", "supply dead", "clear"}
"""Smaller alphabets, in which a search goes deeper: whole days of runs; locks and what lifts them."""


def test_the_first_states_hold_every_invariant() -> None:
    found = explore(step, most=SHORT)

    assert found.wrong is None, found.trace
    assert found.states >= SHORT


def test_every_state_of_whole_days_of_runs_holds_every_invariant() -> None:
    found = explore(step, only=RUNS)

    assert found.wrong is None, found.trace
    assert found.is_closed


@pytest.mark.long
@pytest.mark.parametrize("name", ALPHABETS)
def test_every_reachable_state_holds_every_invariant(name: str) -> None:
    found = explore(step, only=ALPHABETS[name])

    assert found.wrong is None, found.trace
    assert found.is_closed
    assert found.states > 50_000


@pytest.mark.parametrize(
    "sabotage",
    [s for s in SABOTAGES if s.module is not contacts and s.row not in {"S9", "S12"}],
    ids=lambda s: f"{s.row} {s.what}",
)
def test_a_sabotage_is_found(sabotage: Sabotage) -> None:
    with sabotaged(sabotage):
        found = next(
            (found for only in (RUNS, LOCKS, None) if (found := explore(step, most=SHORT, only=only)).wrong), None
        )

    assert found is not None
    assert found.trace
