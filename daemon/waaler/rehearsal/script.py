"""Faults as people write them: `blocked-drain@3d+10:00..12h`, one by one or as a story in a file."""

import re
from difflib import get_close_matches
from pathlib import Path

from waaler.model.faults import FAULTS, Fault
from waaler.settings.faults import Fault as Wrong
from waaler.settings.faults import SettingsError
from waaler.settings.text import read

__all__ = ["FaultTextError", "fault", "story"]

TEXT = re.compile(
    r"(?P<name>[a-z-]+)@(?:(?P<day>\d{1,4})d)?\+?(?:(?P<hour>\d{1,2}):(?P<minute>\d{2}))?"
    r"(?:\.\.(?P<length>\d{1,4}(?:\.\d+)?)(?P<unit>min|h|d))?"
)
UNITS_S = {"min": 60.0, "h": 3600.0, "d": 86_400.0}
FOR_EVER_S = 1e12


class FaultTextError(ValueError):
    """The text is no fault; says what to write."""

    def __init__(self, what: str, remedy: str) -> None:
        self.what, self.remedy = what, remedy
        super().__init__(f"{what}; {remedy}")


def fault(text: str) -> Fault:
    """The fault of NAME@DAYd+HH:MM..LENGTH: days and time from the beginning, then how long; for good without it.

    Raises FaultTextError.
    """
    match = TEXT.fullmatch(text)
    if match is None or (match["day"] is None and match["hour"] is None):
        raise FaultTextError(f"'{text[:60]}' is no fault", "write NAME@3d, NAME@3d+10:00 or NAME@3d+10:00..12h")
    if match["name"] not in FAULTS:
        near = get_close_matches(match["name"], FAULTS, n=1)
        remedy = f"write {near[0]}" if near else "see `waaler rehearse --faults`"
        raise FaultTextError(f"no fault is called '{match['name']}'", remedy)
    starts_s = (
        86_400.0 * int(match["day"] or 0) + 3600.0 * int(match["hour"] or 0) + 60.0 * int(match["minute"] or 0)
    )
    length_s = float(match["length"]) * UNITS_S[match["unit"]] if match["length"] else FOR_EVER_S
    return Fault(match["name"], starts_s, starts_s + length_s)


def story(path: Path) -> tuple[Fault, ...]:
    """The faults of a file: `faults:` and a list of such texts. Raises SettingsError."""
    try:
        source = read(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as problem:
        what = f"cannot be read: {getattr(problem, 'strerror', None) or problem}"
        raise SettingsError((Wrong(str(path), 1, 1, what, "name a file that exists and may be read"),)) from None
    values = source.values
    texts = values.get("faults") if isinstance(values, dict) else None
    if not isinstance(values, dict) or set(values) != {"faults"} or not isinstance(texts, list):
        raise SettingsError((source.fault((), "this is no story", "write `faults:` and a list of NAME@3d..12h"),))
    found, wrong = [], []
    for n, text in enumerate(texts):
        try:
            found.append(fault(text if isinstance(text, str) else ""))
        except FaultTextError as problem:
            wrong.append(source.fault(("faults", n), problem.what, problem.remedy))
    if wrong:
        raise SettingsError(tuple(wrong))
    return tuple(found)
