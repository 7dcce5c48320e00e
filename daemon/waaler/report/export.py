"""A complete copy of the records for other programs: a zip of CSV files and a text that says what is in them."""

import csv
import io
import zipfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from waaler.records.reader import Reader, Table
from waaler.report.history import cell

__all__ = ["ABOUT", "export"]

WALL = "seconds since 1970-01-01 UTC by the wall clock"
LONG = "seconds by the hand that no clock change moves, since that boot began"
BOOT = "the boot that the long hand belongs to"
SURE = "1 if the wall clock was known to be right"

ABOUT: dict[Table, dict[str, str]] = {
    Table.BOOT: {
        "id": "number of the boot", "name": "the kernel's id of it", "last_long_s": f"last sign of life: {LONG}",
        "sure_offset_s": "wall clock less long hand while the clock was sure, empty if never",
    },
    Table.RUN: {
        "id": "number of the run", "when_s": f"where it stands in the history: {WALL}",
        "cause": "who wanted it", "purse": "the allowance of pump time it drew on", "asked_s": "seconds asked for",
        "planned_s": "seconds that the plan has for it, 0 without a plan", "reason": "why wanted, and so long",
        "day": "local day of its cycle", "window": "watering window", "n": "number of the cycle in its window",
        "planned_at_s": f"start by the plan: {WALL}", "pulse": "number of the pulse",
        "pulses": "pulses of its cycle",
        "by": "who ordered it", "granted_s": "seconds that the guard granted", "outcome": "how it ended",
        "is_full": "1 if with it its dose was given in full",
        "actual_s": "seconds that the pump was on", "result_reason": "why it ended so",
    },
    Table.ALERT: {
        "id": "number of the alert", "kind": "its short name", "severity": "urgent, soon or note",
        "text": "what people were told", "times": "how often it was raised while it stood",
        "reminders": "how often people were told again",
        "person": "whose turn it is, by the place in the contacts, from 0", "acknowledged_by": "who took it on",
    },
    Table.TRIP: {
        "id": "number of the trip", "trip": "its short name", "reason": "why, in words",
        "is_locked": "1 if only a person could end it", "by": "who ended it",
        "input": "the protective input whose trip it was, empty for one of pump or relay",
    },
    Table.DEED: {
        "id": "number of the deed", "what": "what was done", "text": "in words", "by": "who did it",
        "until_wall_s": f"when it ended by itself: {WALL}", "seconds": "pump seconds that it was about",
        "boot": BOOT, "long_s": LONG, "wall_s": WALL, "is_sure": SURE,
    },
    Table.AMOUNT: {
        "deed": "the deed's number", "name": "what was poured or measured", "value": "how much", "unit": "its unit",
    },
    Table.SUMP: {
        "id": "number of the entry in the sump's ledger", "litres": "in the sump at rest, litres",
        "ec": "of the solution, mS/cm at 25 C", "tank_l": "left in the header tank, litres",
        "added_l": "topped up since the solution was made, litres",
        "weighed_l": "the level last weighed up against drink, litres",
        "weighed_ago_s": "how long before this moment, seconds",
        "renewed_ago_s": "how long before this moment the solution was made anew, seconds",
        "first_ec": "the first measured since the last refill, mS/cm", "last_ec": "the last, mS/cm",
        "is_read": "1 if the level was read, 0 if it was reckoned",
    },
    Table.SENSOR: {"id": "number of the sensor", "name": "its name in the file", "unit": "of its readings"},
    Table.SAMPLE: {"minute": "minutes since 1970 UTC; kept for 30 days"},
    Table.SAMPLE_10_MIN: {"ten": "tens of minutes since 1970 UTC; kept for a year"},
    Table.SAMPLE_DAY: {"day": "days (UTC) since 1970; kept for ever"},
}  # fmt: skip
"""What each column is; those of moments and samples are told by their endings."""

MOMENTS = {"boot": BOOT, "long_s": LONG, "wall_s": WALL, "is_sure": SURE}
SAMPLES = {
    "sensor": "the sensor's number", "minutes": "minutes with a reading", "mean_milli": "mean, in thousandths",
    "least_milli": "least, in thousandths", "most_milli": "most, in thousandths",
}  # fmt: skip


def export(reader: Reader, bed: str, title: str, out: Path) -> dict[str, int]:
    """Writes the zip; the rows of each table. Raises OSError and StoreError."""
    counts: dict[str, int] = {}
    parts = [f"Records of the bed {bed} ({title}), copied {datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}.", INTRODUCTION]
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for table in Table:
            columns = reader.columns(table)
            counts[table.value] = _write(archive, reader, table, columns)
            parts.append(_about(table, columns, counts[table.value]))
        archive.writestr("README.txt", "\n\n".join(parts) + "\n")
    return counts


INTRODUCTION = (
    "One CSV file a table, UTF-8, commas, a head line; an empty cell is nothing known. Text that a spreadsheet\n"
    "would run as a formula has a quote (') in front. Every moment is kept by both hands: *_wall_s and *_long_s."
)


def meaning(table: Table, column: str) -> str:
    """What a column holds. Raises KeyError for one that nobody described."""
    told = ABOUT[table]
    if column in told:
        return told[column]
    if table.value.startswith("sample"):
        return SAMPLES[column]
    endings = [ending for ending in MOMENTS if column.endswith(f"_{ending}")]
    if not endings:
        raise KeyError(column)
    return f"{column.removesuffix(f'_{endings[0]}')}: {MOMENTS[endings[0]]}"


def _about(table: Table, columns: Sequence[str], rows: int) -> str:
    wide = max(map(len, columns), default=0)
    lines = [f"{table.value}.csv, {rows} rows", *(f"  {c:<{wide}}  {_told(table, c)}" for c in columns)]
    return "\n".join(lines)


def _told(table: Table, column: str) -> str:
    try:
        return meaning(table, column)
    except KeyError:
        return "not known: the records are damaged here"


def _write(archive: zipfile.ZipFile, reader: Reader, table: Table, columns: Sequence[str]) -> int:
    """Row after row, so that ten years need no more memory than a day."""
    count = 0
    with archive.open(f"{table.value}.csv", "w") as raw, io.TextIOWrapper(raw, "utf-8", newline="") as text:
        writer = csv.writer(text)
        writer.writerow(columns)
        for rows in reader.pages(table):
            writer.writerows([_row(row) for row in rows])
            count += len(rows)
    return count


def _row(row: Sequence[Any]) -> list[Any]:
    return [cell(value) for value in row]
