"""The pack of readings against RFC 8428 (tests/reference/senml.yaml)."""

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import yaml

from waaler.core.status import ReadingNow
from waaler.notify.senml import UNITS, pack
from waaler.plan.sensing import UNITS as ADVISERS_UNITS

FACTS = yaml.safe_load((Path(__file__).parents[1] / "reference" / "senml.yaml").read_text())["senml"]
EXAMPLES = {example["id"]: example for example in FACTS["examples"]}


def resolved(records: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """A reader's side, RFC 8428 section 4.6: base fields joined into each record."""
    base: dict[str, Any] = {}
    found = []
    for record in records:
        base |= {key: value for key, value in record.items() if key.startswith("b")}
        whole = {key: value for key, value in record.items() if not key.startswith("b")}
        whole["n"] = base.get("bn", "") + record.get("n", "")
        whole["t"] = base.get("bt", 0) + record.get("t", 0)
        if "bu" in base:
            whole.setdefault("u", base["bu"])
        found.append(whole)
    return found


def reading(name: str, value: float | None, unit: str = "%", second: int = 0, valid: bool = True) -> ReadingNow:
    at = datetime.fromisoformat(f"2026-06-21T08:00:{second:02d}+01:00")
    return ReadingNow(name, value, unit, at, valid)


def test_our_reader_resolves_the_example_of_the_rfc() -> None:
    example = EXAMPLES["seven_currents"]

    assert resolved(example["pack"]) == example["resolved"]


def test_a_pack_resolves_to_each_reading_with_its_own_time() -> None:
    readings = [
        reading("pot", 61.5, second=0),
        reading("air", 24.5, "C", second=10),
        reading("tray_wet", 1.0, "1", second=5),
    ]

    eight_s = 1_782_025_200.0
    assert resolved(pack("terrace", readings)) == [
        {"n": "waaler/terrace/pot", "t": eight_s, "u": "/", "v": 0.615},
        {"n": "waaler/terrace/air", "t": eight_s + 10, "u": "Cel", "v": 24.5},
        {"n": "waaler/terrace/tray_wet", "t": eight_s + 5, "vb": True},
    ]


@pytest.mark.parametrize("left_out", [reading("pot", 130.0, valid=False), reading("pot", None)])
def test_a_reading_that_is_not_valid_is_not_told(left_out: ReadingNow) -> None:
    assert pack("terrace", [left_out]) == []


def test_units_are_registered_and_preferred() -> None:
    units = {unit for unit, _ in UNITS.values()}

    assert units <= set(FACTS["units"]["registered"])
    assert not units & set(FACTS["units"]["not_preferred"])


def test_every_unit_of_an_adviser_has_its_registered_one() -> None:
    readings = [reading(kind.value, 1.0, unit) for kind, unit in ADVISERS_UNITS.items()]

    assert len(pack("terrace", readings)) == len(ADVISERS_UNITS)


def test_a_volume_is_told_in_cubic_metres_and_a_current_in_amperes() -> None:
    told = {one["n"]: one for one in pack("terrace", [reading("sump", 120.0, "L"), reading("pump", 120.0, "A")])}

    assert (told["sump"]["u"], told["sump"]["v"]) == ("m3", 0.12)
    assert (told["pump"]["u"], told["pump"]["v"]) == ("A", 120.0)
