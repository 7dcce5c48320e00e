"""A short form of every attack; `python -m tests.attack` is the long one."""

import random
from itertools import islice
from pathlib import Path

import pytest
from tests.attack.classes import CLASSES

INPUTS = {
    "records-at-a-start": 40,
    "records-before-readers": 15,
    "records-under-a-daemon": 16,
    "servers": 8,
    "completion": 2,
}
PLENTY = 200


@pytest.mark.parametrize("name", CLASSES)
def test_every_input_of_an_attack_holds(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    for module in ("mail", "webhook"):
        monkeypatch.setattr(f"waaler.notify.{module}.TOTAL_S", 1.0)
    attack = CLASSES[name](random.Random(f"16 {name}"), tmp_path)

    found = [wrong for wrong in islice(attack, INPUTS.get(name, PLENTY)) if wrong is not None]
    attack.close()  # type: ignore[attr-defined]

    assert found == []
