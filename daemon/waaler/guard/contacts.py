"""The self-test of two relays in series: each is energised alone, and the pump must stay dead.

It comes before the first run of a day, and before the first after a start, where a flow meter or a sensed supply
can tell. A contact that does not open is found while its partner still cuts.
"""

from dataclasses import replace

from waaler.guard.messages import Contact, Trip
from waaler.guard.state import Run, State

__all__ = ["FLOW_SHARE", "TEST_S", "begun", "is_due", "next_stage", "not_opening", "test_s"]

TEST_S = 3.0
"""Each contact alone; a pump that ran would move water within two seconds. Common practice, no source."""

FLOW_SHARE = 0.2
"""More than this share of normal is water that moves, not a line that runs back. Common practice, no source."""

TESTED_FOR_S = 20 * 3600.0
"""Somewhat under a day, so that the first run of each day tests."""

PARTNER = {Contact.MAIN: Contact.CUTOFF, Contact.CUTOFF: Contact.MAIN}


def is_due(state: State) -> bool:
    """Whether the next run must begin with the self-test."""
    limits = state.limits
    can_tell = limits.has_read_back or limits.normal_flow_l_per_min is not None
    is_fresh = state.tested_s is not None and state.now_s < state.tested_s + TESTED_FOR_S
    return limits.has_cutoff and can_tell and not is_fresh


def test_s(state: State) -> float:
    """What a test before the next run takes; 0 if none is due."""
    return 2 * TEST_S if is_due(state) else 0.0


def begun(run: Run) -> Run:
    """The run with the test before it, inside its granted time."""
    return replace(
        run,
        testing=Contact.MAIN,
        test_until_s=run.started_s + TEST_S,
        waters_from_s=run.started_s + 2 * TEST_S,
    )


def next_stage(run: Run) -> Run:
    """After the main relay the cut-off relay, then the run itself."""
    if run.testing is Contact.MAIN:
        return replace(run, testing=Contact.CUTOFF, test_until_s=run.test_until_s + TEST_S)
    return replace(run, testing=None)


def not_opening(state: State, run: Run) -> tuple[Trip, Contact] | None:
    """The contact that should be open and is not, and by what that shows; None if the pump stays dead."""
    if run.testing is None:
        return None
    open_contact = PARTNER[run.testing]
    if state.is_read_back_on:
        return Trip.OVERRUN, open_contact
    normal = state.limits.normal_flow_l_per_min
    is_fresh = state.flow_read_s > run.test_until_s - TEST_S / 2
    if normal is not None and is_fresh and (state.flow_l_per_min or 0.0) > FLOW_SHARE * normal:
        return Trip.FLOW_WHILE_OFF, open_contact
    return None
