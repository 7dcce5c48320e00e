"""The door for orders: what no person can mean never becomes one."""

import json
from math import inf, nan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waaler.core.facts import Amount
from waaler.core.messages import OrderKind
from waaler.keeper.door import AMOUNTS, LENGTHS, NotAdmitted, Request, Room, admitted

ROOM = Room(100.0)
HUGE = 10**400


def refusal(asked: dict[str, Any], room: Room = ROOM) -> tuple[str, bool]:
    with pytest.raises(NotAdmitted) as caught:
        admitted(asked, "ann", False, room)
    return str(caught.value), caught.value.is_doubtful


@pytest.mark.parametrize("kind", sorted(LENGTHS))
@pytest.mark.parametrize(
    ("seconds", "told"),
    [
        (nan, "length nan is outside 1 to 172,800 s"),
        (inf, "length inf is outside 1 to 172,800 s"),
        (-inf, "length -inf is outside 1 to 172,800 s"),
        (-1, "length -1 is outside 1 to 172,800 s"),
        (0, "length 0 is outside 1 to 172,800 s"),
        (1e-320, "length 1e-320 is outside 1 to 172,800 s"),
        (1e308, "length 1e+308 is outside 1 to 172,800 s"),
        (HUGE, "length 10000000000000000... is outside 1 to 172,800 s"),
        (True, "length is no number"),
        ("60", "length is no number"),
        ([60], "length is no number"),
        (None, "length is no number"),
    ],
)
def test_a_length_that_nobody_can_mean_is_no_order(kind: OrderKind, seconds: object, told: str) -> None:
    assert refusal({"do": kind.value, "seconds": seconds}) == (told, False)


@pytest.mark.parametrize(("kind", "name"), [(kind, name) for kind, known in AMOUNTS.items() for name in known])
@pytest.mark.parametrize(
    "size", [nan, inf, -inf, -1e308, 1e308, HUGE, -HUGE, True, False, "5", [5], {"a": 5}, None]
)
def test_an_amount_that_cannot_be_true_is_never_entered(kind: OrderKind, name: str, size: object) -> None:
    text, is_doubtful = refusal({"do": kind.value, "amounts": {name: size}})

    assert text.startswith(name)
    assert not is_doubtful


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"do": [1]}, "no such order: that"),
        ({"do": None}, "no such order: that"),
        ({"do": "\x1b[2J"}, "no such order: that"),
        ({"do": "water"}, "water needs seconds"),
        ({"do": "stop", "seconds": 5}, "stop has no 'seconds'"),
        ({"do": "refill", "litres": 5}, "refill has no 'litres'"),
        ({"do": "clear", "is_remote": "yes"}, "is_remote is true or false"),
        ({"do": "measure"}, "nothing was measured"),
        ({"do": "measure", "amounts": [1]}, 'amounts are written {"pH": 5.9}'),
        ({"do": "measure", "amounts": {"pH": 15}}, "pH 15 is outside 0 to 14"),
        ({"do": "measure", "amounts": {"ph": 6}}, "'ph' is none of sump, EC, pH, temperature"),
        ({"do": "note", "text": " "}, "the note is empty"),
        ({"do": "note", "text": "a\nb"}, "a text is one line of at most 500 letters"),
        ({"do": "note", "text": "a" * 501}, "a text is one line of at most 500 letters"),
        ({"do": "note", "text": "\ud800"}, "a text is one line of at most 500 letters"),
        ({"do": "note", "text": "\x1b[31m"}, "a text is one line of at most 500 letters"),
        ({"do": "note", "text": ["a", "b"]}, "a text is one line in quotes"),
        ({"do": "commission", "text": "x", "by": "root"}, "commission has no 'by'"),
        ({"do": "commission", "text": "x", "wrong_float": ["x"]}, "a float is one of sump_low, tray_high"),
        ({"do": "note", "text": "x", "wrong_float": "sump_low"}, "note has no 'wrong_float'"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused_with_what_is_wrong(asked: dict[str, Any], told: str) -> None:
    assert refusal(asked) == (told, False)


@pytest.mark.parametrize(
    ("asked", "room", "told"),
    [
        ({"do": "refill", "amounts": {"water": 10_000}}, ROOM, "10,000 L is more than the sump holds (100 L)"),
        (
            {"do": "refill", "amounts": {"water": 60, "solution": 41}},
            ROOM,
            "101 L is more than the sump holds (100 L)",
        ),
        (
            {"do": "refill", "amounts": {"solution": 151}},
            Room(100.0, 50.0),
            "151 L is more than the sump and its header tank hold (150 L)",
        ),
        (
            {"do": "measure", "amounts": {"sump": 101}},
            Room(100.0, 50.0),
            "101 L is more than the sump holds (100 L)",
        ),
    ],
)
def test_what_the_bed_cannot_hold_is_asked_back(asked: dict[str, Any], room: Room, told: str) -> None:
    assert refusal(asked, room) == (told, True)
    assert admitted({**asked, "is_sure": True}, "ann", False, room).amounts


def test_what_fits_to_the_brim_is_taken_as_it_is() -> None:
    asked = {"do": "refill", "amounts": {"solution": 100}, "is_renewal": True}

    assert admitted(asked, "ann", False, ROOM) == Request(
        OrderKind.REFILL, "ann", amounts=(Amount("solution", 100.0, "L"),), is_renewal=True
    )


@pytest.mark.parametrize("seconds", [nan, inf, -1.0, 0.0, 1e9])
def test_the_button_passes_the_same_door(seconds: float) -> None:
    with pytest.raises(NotAdmitted):
        Request(OrderKind.WATER, "the button", seconds)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
ORDER = st.fixed_dictionaries(
    {"do": st.sampled_from([*OrderKind, "status"]) | JSON},
    optional={
        "seconds": JSON,
        "text": JSON,
        "is_renewal": JSON,
        "is_remote": JSON,
        "is_sure": JSON,
        "amounts": JSON | st.dictionaries(st.sampled_from(["water", "sump", "pH", "EC", "x"]), JSON, max_size=3),
    },
)


@given(asked=ORDER)
def test_whatever_json_says_it_is_refused_or_becomes_an_order_within_bounds(asked: dict[str, Any]) -> None:
    try:
        request = admitted(asked, "ann", False, ROOM)
    except NotAdmitted as problem:
        assert str(problem).isprintable()
        return
    assert request.seconds == 0 or 1 <= request.seconds <= 172_800
    assert all(-10 <= amount.value <= 20_000 for amount in request.amounts)
    assert len(request.text) <= 500
    json.dumps([request.seconds, *(amount.value for amount in request.amounts)], allow_nan=False)
