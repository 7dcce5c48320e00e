"""What an alert knows survives the records, and nothing damaged passes for it."""

from typing import get_args

import pytest

from waaler.core.alert import (
    About,
    CycleMissed,
    LowAtRest,
    LowInRuns,
    NoSign,
    NotSeen,
    NotValid,
    Outside,
    PausedLong,
    SoonLow,
    TooLow,
    Weaker,
    Words,
)
from waaler.records.about import about_of, as_text

EVERY: tuple[About, ...] = (
    Words("It failed.", "Nothing.", "Look.", "Safe.", "It ends.", is_thirsty=True),
    LowAtRest(is_first_fill=True),
    NotValid("pot_3", "cannot be read", 12),
    CycleMissed(-7200.5),
    PausedLong(3600.0, "anna"),
    SoonLow(86_400.0),
    Weaker(7.0, 12.0),
    NotSeen(("sump_low bad", "tray_high good")),
    LowInRuns(2, 40.5),
    TooLow(3),
    NoSign(("flow", "supply")),
    Outside("pH", 7.2, "", 5.5, 6.5),
    None,
)


@pytest.mark.parametrize("about", EVERY, ids=lambda about: type(about).__name__)
def test_what_an_alert_knows_comes_back_as_it_was(about: About) -> None:
    assert about_of(as_text(about)) == about


def test_every_kind_of_it_is_tried_here() -> None:
    assert {type(about) for about in EVERY} == set(get_args(About))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "7",
        '{"is": "Wordz", "what": "It."}',
        '{"is": "SoonLow"}',
        '{"is": "SoonLow", "at_s": "noon"}',
        '{"is": "SoonLow", "at_s": null}',
        '{"is": "LowInRuns", "times": 2.5, "pulse_s": 40}',
        '{"is": "LowAtRest", "is_first_fill": 1}',
        '{"is": "NoSign", "signs": "flow"}',
    ],
)
def test_a_damaged_text_tells_nothing(text: str) -> None:
    assert about_of(text) is None
