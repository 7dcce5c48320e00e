"""Every mutant can be made, and the short form begins with a story for each."""

import json

import pytest
from tests.campaign.mutant_list import MUTANTS, Mutant
from tests.campaign.mutants import NOTICED, mutated


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.what)
def test_a_mutant_replaces_what_it_names(mutant: Mutant) -> None:
    before = [getattr(module, name) for module, name in mutant.places]

    with mutated(mutant):
        during = [getattr(module, name) for module, name in mutant.places]

    assert all(a is not b for a, b in zip(before, during, strict=True))
    assert [getattr(module, name) for module, name in mutant.places] == before


def test_what_was_noticed_is_of_the_list() -> None:
    noticed = json.loads(NOTICED.read_text())

    assert noticed.keys() <= {mutant.what for mutant in MUTANTS}
