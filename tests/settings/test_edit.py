"""A value written into a file, and nothing else of the file touched."""

from typing import Any

import pytest

from waaler.settings import parse
from waaler.settings.edit import with_value
from waaler.settings.places import EXAMPLE
from waaler.settings.text import Path

CALIBRATION = {"dry": 811, "wet": 402}
PROBE: Path = ("sensing", "probes", 0, "calibration")


@pytest.mark.parametrize("path", [("pins", "relay"), ("sensing", "probes", 3, "calibration"), ("a", "b", "c")])
def test_a_section_that_is_not_there_is_refused(path: Path) -> None:
    with pytest.raises(KeyError):
        with_value("sensing: {probes: [{name: p}]}\n", path, 1)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("sensing:\n  probes:\n    - name: p   # the left one\n      channel: 0 # here\n# end\n",
         "sensing:\n  probes:\n    - name: p   # the left one\n      channel: 0 # here\n"
         "      calibration: {dry: 811, wet: 402}\n# end\n"),
        ("sensing: {probes: [{name: p, channel: 0}]} # all", "sensing: {probes: [{name: p, channel: 0,"
         " calibration: {dry: 811, wet: 402}}]} # all"),
        ("sensing:\n  probes:\n  - name: p\n    calibration:   # of May\n      wet: 380  # drained\n      dry: 820 # air\n"
         "    channel: 1\n",
         "sensing:\n  probes:\n  - name: p\n    calibration:   # of May\n      wet: 402  # drained\n      dry: 811 # air\n"
         "    channel: 1\n"),
        ("sensing: {probes: [{calibration: {dry: 820, wet: 380}, name: p}]}\n",
         "sensing: {probes: [{calibration: {dry: 811, wet: 402}, name: p}]}\n"),
        ("sensing: {probes: [{name: p}]}", "sensing: {probes: [{name: p, calibration: {dry: 811, wet: 402}}]}"),
        ("sensing:\n  probes:\n    - name: p", "sensing:\n  probes:\n    - name: p\n"
         "      calibration: {dry: 811, wet: 402}"),
    ],
)  # fmt: skip
def test_a_value_is_written_and_comments_stay(before: str, after: str) -> None:
    assert with_value(before, PROBE, CALIBRATION) == after


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (PROBE, {"dry": 811, "wet": 402, "points": [[600, "45 %"]]}),
        (("limits", "run_back"), "14 min"),
        (("pins", "relay", "draws"), "5 mA"),
        (("plan", 0, "cycles"), 4),
    ],
)
def test_the_example_stays_valid_and_changes_in_one_line(path: Path, value: Any) -> None:
    text = EXAMPLE.read_text()
    edited = with_value(text, path, value)

    parse(edited, "t.yaml")
    before, after = text.splitlines(), edited.splitlines()
    assert len(before) == len(after)
    assert sum(a != b for a, b in zip(before, after, strict=True)) == 1
