"""Readings as a SenML pack (RFC 8428), in its registered units."""

from collections.abc import Sequence

from waaler.core.status import ReadingNow

__all__ = ["pack"]

UNITS = {"%": ("/", 0.01), "C": ("Cel", 1.0), "W/m2": ("W/m2", 1.0), "L": ("m3", 0.001), "A": ("A", 1.0)}
"""Our units -> the registry's, and the factor: a share is told as a ratio and a volume in m3, since `%` and `l` are
not preferred there."""

BOOLEAN = "1"
"""Our unit of a contact: 1 wet, 0 dry."""


def pack(bed: str, readings: Sequence[ReadingNow]) -> list[dict[str, object]]:
    """One record for each valid reading; empty if there is none."""
    valid = [
        (reading.name, reading.value, reading.unit, reading.at.timestamp())
        for reading in readings
        if reading.valid and reading.value is not None and reading.at is not None
    ]
    if not valid:
        return []
    base_s = max(at_s for *_, at_s in valid)
    records = [_record(name, value, unit, at_s - base_s) for name, value, unit, at_s in valid]
    return [{"bn": f"waaler/{bed}/", "bt": base_s, **records[0]}, *records[1:]]


def _record(name: str, value: float, our_unit: str, t_s: float) -> dict[str, object]:
    record: dict[str, object] = {"n": name}
    if our_unit == BOOLEAN:
        record["vb"] = bool(value)
    else:
        unit, factor = UNITS[our_unit]
        record |= {"u": unit, "v": round(value * factor, 6)}
    return record | ({"t": t_s} if t_s else {})
