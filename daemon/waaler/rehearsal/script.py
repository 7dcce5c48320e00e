"""Faults as people write them: `blocked-drain@3d+10:00..12h`."""

import re
from difflib import get_close_matches

from waaler.model.faults import FAULTS, Fault

__all__ = ["FaultTextError", "fault"]

TEXT = re.compile(
    r"(?P<name>[a-z-]+)@(?:(?P<day>\d{1,4})d)?\+?(?:(?P<hour>\d{1,2}):(?P<minute>\d{2}))?"
    r"(?:\.\.(?P<length>\d{1,4}(?:\.\d+)?)(?P<unit>min|h|d))?"
)
UNITS_S = {"min": 60.0, "h": 3600.0, "d": 86_400.0}
FOR_EVER_S = 1e12


class FaultTextError(ValueError):
    """The text is no fault; says what to write."""


def fault(text: str) -> Fault:
    """The fault of NAME@DAYd+HH:MM..LENGTH: days and time from the beginning, then how long; for good without it.

    Raises FaultTextError.
    """
    match = TEXT.fullmatch(text)
    if match is None or (match["day"] is None and match["hour"] is None):
        raise FaultTextError(f"'{text}' is no fault; write NAME@3d, NAME@3d+10:00 or NAME@3d+10:00..12h")
    if match["name"] not in FAULTS:
        near = get_close_matches(match["name"], FAULTS, n=1)
        remedy = f"write {near[0]}" if near else "see `waaler rehearse --faults`"
        raise FaultTextError(f"no fault is called '{match['name']}'; {remedy}")
    starts_s = (
        86_400.0 * int(match["day"] or 0) + 3600.0 * int(match["hour"] or 0) + 60.0 * int(match["minute"] or 0)
    )
    length_s = float(match["length"]) * UNITS_S[match["unit"]] if match["length"] else FOR_EVER_S
    return Fault(match["name"], starts_s, starts_s + length_s)
