"""What the sensors may change of the plan: the frozen rules and readings of the advisers."""

from dataclasses import dataclass

__all__ = ["UNITS", "WETNESS", "Adviser", "AdviserKind", "Range", "Reading", "Sensing"]

from enum import StrEnum


class AdviserKind(StrEnum):
    MOISTURE = "moisture"
    """Percent of the calibrated span: 0 in air, 100 drained after a soak."""
    TRAY_WET = "tray_wet"
    """A float or contact at the tray's lowest spot: 1 wet, 0 dry."""
    TEMPERATURE = "temperature"
    """Degrees Celsius of air or media."""
    LIGHT = "light"
    """Of the sun at the plants, W/m2."""
    LEVEL = "level"
    """What the sump holds, litres."""
    CURRENT = "current"
    """Of the pump, A."""


UNITS = {
    AdviserKind.MOISTURE: "%", AdviserKind.TEMPERATURE: "C", AdviserKind.TRAY_WET: "1", AdviserKind.LIGHT: "W/m2",
    AdviserKind.LEVEL: "L", AdviserKind.CURRENT: "A",
}  # fmt: skip
"""Of readings and samples, as people read them; 1 for a contact."""

WETNESS = frozenset({AdviserKind.MOISTURE, AdviserKind.TRAY_WET})
"""The kinds that tell how wet the bed is; only they may skip, lengthen, or show that water came."""


@dataclass(frozen=True, slots=True)
class Adviser:
    """One input that advises. name: unique, as in the file.

    wet_above, dry_below: for moisture, percent; a value between them says nothing.
    is_calibrated: a probe that never was may not skip a cycle.
    stale_after_s: no reading for this long: not valid. lowest, highest: the range of believable values.
    most_change_per_min: a faster change is a jump: not valid. is_coarse: it knows a few steps alone, as floats do.
    """

    name: str
    kind: AdviserKind
    wet_above: float = 100.0
    dry_below: float = 0.0
    is_calibrated: bool = True
    stale_after_s: float = 300.0
    lowest: float = -10.0
    highest: float = 120.0
    most_change_per_min: float = 30.0
    is_coarse: bool = False


@dataclass(frozen=True, slots=True)
class Range:
    """What a measurement of the solution should lie in. name: EC (mS/cm at 25 C), pH or temperature (C)."""

    name: str
    unit: str
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class Sensing:
    """The rules of advice. Defaults: common practice, no source.

    skip_at_most: cycles skipped in a row. hot_above_c: no skip above it. extend_at_most: share of the planned
    seconds that a dry reading may add. least_share: share of the planned seconds of any 24 h that runs whatever
    the sensors say. drained_after_s: a reading counts this long after a run. extra_after_s: still dry this long
    after an extended run: one extra run. ranges: of the solution; a value outside raises an alert, and no more.
    """

    advisers: tuple[Adviser, ...] = ()
    skip_at_most: int = 1
    hot_above_c: float = 30.0
    extend_at_most: float = 0.5
    least_share: float = 0.5
    drained_after_s: float = 1200.0
    extra_after_s: float = 1800.0
    ranges: tuple[Range, ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of an adviser. value None: the device could not be read."""

    name: str
    value: float | None
