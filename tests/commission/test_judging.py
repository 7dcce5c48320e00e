"""What a float's readings mean, case by case."""

import pytest

from waaler.commission.judging import UNSTEADY, judge_float, judge_wire
from waaler.commission.parts import Verdict
from waaler.guard.messages import Input

PINS = {"sump_low": "GPIO 27 (pin 13)", "tray_high": "GPIO 22 (pin 15)"}
REST = {"sump_low": "good", "tray_high": "good"}


def levels(sump: str, tray: str) -> dict[str, str]:
    return {"sump_low": sump, "tray_high": tray}


@pytest.mark.parametrize(
    ("hanging", "lifted", "words"),
    [
        (("good", "bad"), ("good", "good"), "SWAPPED: moving the sump's float changed tray_high and not sump_low."
         " Exchange the two floats' wires, GPIO 27 (pin 13) with GPIO 22 (pin 15)"),
        (("good", "good"), ("bad", "good"), "INVERTED: the sump's float reads good hanging and bad lifted."),
        (("bad", "good"), ("bad", "good"), "the sump's float reads bad whatever is done to it: a wire is off"),
        (("good", "good"), ("good", "good"), "the sump's float reads good whatever is done to it: its wires touch"),
        (("not read", "good"), ("not read", "good"), "the sump's float reads not read whatever is done to it: its line"
         " gives an error"),
        (("bad", "bad"), ("good", "good"), "moving the sump's float changed tray_high too: their wires touch"),
        ((UNSTEADY, "good"), ("good", "good"), "the sump's float does not read steadily"),
    ],
)  # fmt: skip
def test_a_wrong_float_is_named(hanging: tuple[str, str], lifted: tuple[str, str], words: str) -> None:
    found = judge_float(Input.SUMP_LOW, REST, levels(*hanging), levels(*lifted), PINS)

    assert found.verdict is Verdict.FAILED
    assert found.text.startswith(words)


def test_a_right_float_passes_even_beside_one_that_bounces() -> None:
    found = judge_float(Input.SUMP_LOW, REST, levels("bad", UNSTEADY), levels("good", "bad"), PINS)

    assert (found.verdict, found.text) == (Verdict.PASSED, "the sump's float reads bad hanging and good lifted")


def test_the_trays_float_is_good_while_it_hangs() -> None:
    assert (
        judge_float(Input.TRAY_HIGH, REST, levels("good", "good"), levels("good", "bad"), PINS).verdict
        is Verdict.PASSED
    )
    assert (
        judge_float(Input.TRAY_HIGH, REST, levels("good", "bad"), levels("good", "good"), PINS).verdict
        is Verdict.FAILED
    )


@pytest.mark.parametrize(
    ("level", "verdict"), [("bad", Verdict.PASSED), ("not read", Verdict.PASSED), ("good", Verdict.FAILED)]
)
def test_a_wire_that_is_off_must_not_read_good(level: str, verdict: Verdict) -> None:
    assert judge_wire(Input.SUMP_LOW, levels(level, "good")).verdict is verdict
