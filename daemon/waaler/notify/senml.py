"""Readings as a SenML pack (RFC 8428), in its registered units."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

__all__ = ["pack"]

UNITS = {"%": ("/", 0.01), "C": ("Cel", 1.0), "W/m2": ("W/m2", 1.0), "L": ("m3", 0.001), "A": ("A", 1.0)}
"""Our units -> the registry's, and the factor: a share is told as a ratio and a volume in m3, since `%` and `l` are
not preferred there."""

BOOLEAN = "1"
"""Our unit of a contact: 1 wet, 0 dry."""


def pack(bed: str, readings: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """One record for each valid reading; empty if there is none.

    readings: objects with name, value, unit, at (RFC 3339) and valid, as the daemon's status has them.
    """
    valid = [reading for reading in readings if reading["valid"] and reading["value"] is not None]
    if not valid:
        return []
    times_s = [datetime.fromisoformat(reading["at"]).timestamp() for reading in valid]
    base_s = max(times_s)
    records = [_record(reading, at_s - base_s) for reading, at_s in zip(valid, times_s, strict=True)]
    return [{"bn": f"waaler/{bed}/", "bt": base_s, **records[0]}, *records[1:]]


def _record(reading: dict[str, Any], t_s: float) -> dict[str, Any]:
    record: dict[str, Any] = {"n": reading["name"]}
    if reading["unit"] == BOOLEAN:
        record["vb"] = bool(reading["value"])
    else:
        unit, factor = UNITS[reading["unit"]]
        record |= {"u": unit, "v": round(reading["value"] * factor, 6)}
    return record | ({"t": t_s} if t_s else {})
