"""What the guard says comes over a pipe or from a file as it was; anything else is refused."""

import json
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waaler.guard import messages
from waaler.guard.codec import Misfit, packed, unpacked
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import Action, Ask, Cut, Ended, Hold, HoldKind, Input, Message, NewLimits, Purse, Trip

SAYINGS = (*get_args(Message), *get_args(Action))


def there_and_back(kind: Any, value: Any) -> Any:
    return unpacked(kind, json.loads(json.dumps(packed(value))))


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        (Cut, None),
        (Cut, ["reason"]),
        (Cut, {}),
        (Cut, {"reason": 5}),
        (Cut, {"reason": "x", "other": 1}),
        (Hold, {"kind": "holiday", "until_s": 1.0, "by": "ann"}),
        (Hold, {"kind": "pause", "until_s": "soon", "by": "ann"}),
        (Hold, {"kind": "pause", "until_s": float("nan"), "by": "ann"}),
        (Hold, {"kind": "pause", "until_s": True, "by": "ann"}),
        (Ask, {"run_id": 1.5, "seconds": 1, "purse": "plan", "valid_until_s": 2}),
        (Memory, {"spans": {"0": 1}}),
        (Memory, {"tripped": [["sump_low"]]}),
        (Memory, {"tripped": [["sump_low", "low sump", "x"]]}),
        (Memory, {"last_stop_s": "never"}),
    ],
)
def test_what_does_not_fit_its_type_is_refused(kind: Any, data: Any) -> None:
    with pytest.raises(Misfit):
        unpacked(kind, data)


# --- what fits --------------------------------------------------------------------------------


def test_every_message_of_the_guard_can_be_told_apart_by_its_name() -> None:
    names = [kind.__name__ for kind in SAYINGS]

    assert len(set(names)) == len(names)
    assert {name for name in names if not hasattr(messages, name)} == set()


@pytest.mark.parametrize("kind", SAYINGS, ids=lambda kind: kind.__name__)
@given(data=st.data())
def test_every_message_comes_back_as_it_was(kind: type, data: st.DataObject) -> None:
    value = data.draw(st.from_type(kind))

    if packed(value) == json.loads(json.dumps(packed(value))):  # no NaN, which equals nothing
        assert there_and_back(kind, value) == value


def test_a_number_without_a_point_is_still_a_number_of_seconds() -> None:
    assert unpacked(Hold, {"kind": "pause", "until_s": 3, "by": "ann"}) == Hold(HoldKind.PAUSE, 3.0, "ann")


def test_a_run_that_is_always_later_than_a_stop_stays_so() -> None:
    ask = Ask(1, 60.0, Purse.PLAN, 5.0)

    assert there_and_back(Ask, ask) == ask


def test_a_field_that_a_line_of_before_does_not_have_takes_its_default() -> None:
    assert unpacked(Memory, {"last_run_id": 4}) == Memory(last_run_id=4)


def test_sets_are_written_in_one_order() -> None:
    tripped = frozenset({(Input.TRAY_HIGH, Trip.NOT_READ), (Input.SUMP_LOW, Trip.LOW_SUMP)})

    assert packed(tripped) == [["sump_low", "low sump"], ["tray_high", "input not read"]]


def test_limits_and_ends_of_runs_are_whole_values() -> None:
    limits = NewLimits(Limits(longest_run_s=30.0, normal_flow_l_per_min=None))
    ended = Ended(3, 12.5, "sump low", Trip.LOW_SUMP, has_flowed=True, was_live=None)

    assert there_and_back(NewLimits, limits) == limits
    assert there_and_back(Ended, ended) == ended
