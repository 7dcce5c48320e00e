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

CLOSEST = {"S4": ALPHABETS["levels"], "S7": LOCKS, "S14": ALPHABETS["holds"]}
"""Where a sabotage of this row shows soonest."""


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
        alphabets = (CLOSEST.get(sabotage.row, RUNS), LOCKS, None)
        searches = (explore(step, most=SHORT, only=only) for only in alphabets)
        found = next((found for found in searches if found.wrong), None)

    assert found is not None
    assert found.trace
