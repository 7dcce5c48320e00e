"""The exploration finds nothing in the guard, and finds every sabotage of it."""

import pytest
from tests.guard.exploration import ALPHABETS, RULES, RULES_OF, explore
from tests.guard.sabotages import SABOTAGES, Sabotage, sabotaged

from waaler.guard.step import step

SHORT = 12_000
RUNS = frozenset({"second", "ask 3 s", "sump good", "tray good", "restart"})
LOCKS = RUNS - {"ask 3 s"} | {"ask 1 s by hand", "supply live", "supply dead", "clear"}
"""Smaller alphabets, in which a search goes deeper: whole days of runs; locks and what lifts them."""

ATTENDED = frozenset({"second", "sump good", "tray good", "attend", "ask attended"})
SELF_TEST = ALPHABETS["self-test"] - {"restart", "clear"}
CLOSEST = {"S4": "levels", "S12": "limits", "S14": "holds"}
"""Where a sabotage of this row shows soonest."""

SHOWS_IN = {
    "a contact that does not open is not noticed": "self-test",
    "water that moves with the pump off is not noticed": "flow",
    "a dry pump goes on": "flow",
    "soak and attended runs need nobody's word": "attended",
    "soak and attended runs are counted with nobody": "attended",
}
"""The same of one alone."""


def test_the_first_states_hold_every_invariant() -> None:
    found = explore(step, most=SHORT)

    assert found.wrong is None, found.trace
    assert found.states >= SHORT


@pytest.mark.parametrize("name", ["limits", "attended", "soak", "flow", "self-test"])
def test_the_first_states_with_more_than_runs_and_floats_hold_every_invariant(name: str) -> None:
    found = explore(step, most=SHORT // 3, only=ALPHABETS[name], rules=RULES_OF.get(name, RULES))

    assert found.wrong is None, found.trace


def test_every_state_of_whole_days_of_runs_holds_every_invariant() -> None:
    found = explore(step, only=RUNS)

    assert found.wrong is None, found.trace
    assert found.is_closed


@pytest.mark.long
@pytest.mark.parametrize("name", ALPHABETS)
def test_every_reachable_state_holds_every_invariant(name: str) -> None:
    found = explore(step, only=ALPHABETS[name], rules=RULES_OF.get(name, RULES))

    assert found.wrong is None, found.trace
    assert found.is_closed
    assert found.states > 10_000


@pytest.mark.parametrize(
    "sabotage",
    [s for s in SABOTAGES if s.row != "S9"],
    ids=lambda s: f"{s.row} {s.what}",
)
def test_a_sabotage_is_found(sabotage: Sabotage) -> None:
    name = SHOWS_IN.get(sabotage.what) or CLOSEST.get(sabotage.row, "")
    with sabotaged(sabotage):
        closest = SELF_TEST if name == "self-test" else ALPHABETS.get(name, RUNS)
        alphabets = (closest, LOCKS, ATTENDED, None)
        rules = RULES_OF.get(name, RULES)
        searches = (explore(step, most=SHORT, only=only, rules=rules) for only in alphabets)
        found = next((found for found in searches if found.wrong), None)

    assert found is not None
    assert found.trace
