"""What came of a rehearsal, as lines of at most 80 columns and as an object; of one plan, or of several."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from waaler.bed.pots import Pot, crops_of, named
from waaler.cli.common import three_digits

if TYPE_CHECKING:
    from waaler.rehearsal.scene import Findings
    from waaler.rehearsal.what_if import Tried
    from waaler.settings import Settings

__all__ = [
    "as_lines",
    "as_object",
    "best_words",
    "changes_words",
    "low_words",
    "seasons_over",
    "tries_as_lines",
    "verdict",
    "when",
]

MOST_TRIPS = 10
WIDTH = 80
APART_PERCENT = 10.0
"""Pots that lie further apart than this at their driest want balancing. Common practice, no source."""


def as_lines(settings: "Settings", days: float, start: datetime, found: "Findings") -> list[str]:
    lines = [
        f"{settings.title} ({settings.id}): {days:g} days from {start:%a %d %b %Y}, simulated",
        "",
        *_runs(found),
        f"  driest    {found.driest_percent:.0f} % of what the media hold, in"
        f" {named(found.pots, [found.driest_pot - 1])},",
        f"            {when(found.driest_at)} (plants wilt below {found.wilting_percent:.0f} %)",
        *_apart(found),
        f"  sump      {found.sump_end_l:.0f} L at the end of {found.sump_start_l:.0f} L; {_low(found)}",
        f"  solution  EC {found.ec_end:.2f} mS/cm at the end",
    ]
    if found.refills:
        litres, first, last = sum(litres for _, litres in found.refills), found.refills[0], found.refills[-1]
        words = f"{len(found.refills)}, {three_digits(litres)} L, {when(first[0])} to {when(last[0])}"
        lines.append(f"  refills   {words}")
    lines += [f"  trip      {when(at)}: {reason}" for at, reason in found.trips[:MOST_TRIPS]]
    if len(found.trips) > MOST_TRIPS:
        lines.append(f"            and {len(found.trips) - MOST_TRIPS} more: see `waaler history --rehearsal`")
    if found.spilled_l > 0:
        lines.append(f"  spilled   {three_digits(found.spilled_l)} L over the tray's rim, or onto the floor")
    for words in seasons_over(found.pots, (start + timedelta(days=days)).date()):
        lines += wrap(words, WIDTH, initial_indent="  season    ", subsequent_indent=" " * 12)
    return [*lines, "", verdict(found)]


def seasons_over(pots: Sequence[Pot], last: date) -> list[str]:
    """Of each crop whose stages end before a day: when, and what is taken from then on."""
    return [
        f"the stages of {crop.name} end on {crop.over_on:%a %d %b %Y}; from then on it drinks as at their end"
        for crop in crops_of(pots)
        if crop.over_on <= last
    ]


def _runs(found: "Findings") -> list[str]:
    from waaler.core.facts import Outcome

    count = found.counts.get
    return [
        f"  runs      {count(Outcome.DONE, 0)} done, {found.extended} of them lengthened,"
        f" {count(Outcome.SKIPPED, 0)} skipped, {count(Outcome.CUT_SHORT, 0)} cut short,"
        f" {count(Outcome.REFUSED, 0)} refused",
        f"  pump      {three_digits(found.pump_s / 60)} min, {three_digits(found.lifted_l)} L lifted;"
        f" the plants drank {three_digits(found.drunk_l)} L",
    ]


def _apart(found: "Findings") -> list[str]:
    least, most = min(found.pots_driest_percent), max(found.pots_driest_percent)
    return [f"            the wettest pot never fell below {most:.0f} %"] if most - least >= APART_PERCENT else []


def verdict(found: "Findings") -> str:
    if found.does_starve:
        where, hours = _worst(found, found.pots_wilted_h)
        cure = "Refill sooner" if found.sump_low_at is not None else "Water more often, or longer"
        return f"Plants wilt in {where}: up to {hours} h below the wilting mark. {cure}."
    if found.trips:
        return f"The guard cut {len(found.trips)} runs: see why with `waaler history --rehearsal`."
    if any(found.pots_dry_h):
        where, hours = _worst(found, found.pots_dry_h)
        return f"No plant wilts, but {where} dry past what is easy to take: up to {hours} h. Water more often."
    return "The plan keeps the media moist, and nothing tripped."


def _worst(found: "Findings", hours: list[float]) -> tuple[str, str]:
    """The pots with any such hours, and the most hours that one of them has."""
    numbers = [n for n, one_h in enumerate(hours) if one_h > 0]
    return named(found.pots, numbers), three_digits(max(hours))


def _low(found: "Findings") -> str:
    if found.sump_low_at is not None:
        return f"reads low from {when(found.sump_low_at)}: refill before"
    if found.sump_low_expected is None:
        return "lasts beyond 60 days"
    return f"needs water about {found.sump_low_expected:%a %d %b}"


def when(at: datetime | None) -> str:
    return "never" if at is None else f"{at:%a %d %b %H:%M}"


def low_words(found: "Findings") -> str:
    low = found.sump_low_at or found.sump_low_expected
    return "never" if low is None else f"{low:%a %d %b}"


def changes_words(one: "Tried") -> str:
    return ", ".join(f"{key} {value}" for key, value in one.changes)


def best_words(tried: "list[Tried]") -> str:
    if not tried[0].is_sound:
        return "None of them keeps every pot above its limit without a trip."
    return f"The least water that keeps every pot above its limit: {changes_words(tried[0])}."


def tries_as_lines(settings: "Settings", days: float, tried: "list[Tried]") -> list[str]:
    lines = [
        f"{settings.title} ({settings.id}): {len(tried)} plans, {days:g} days each",
        "",
        "  driest   wilted    lifted   sump low     trips  with",
    ]
    for one in tried:
        found = one.found
        lines.append(
            f"  {found.driest_percent:4.0f} %  {found.wilted_h:5.0f} h  {three_digits(found.lifted_l):>6} L"
            f"   {low_words(found):<11}{len(found.trips):5}  {changes_words(one)}"
        )
    return [*lines, "", best_words(tried)]


def as_object(settings: "Settings", days: float, found: "Findings") -> dict[str, Any]:
    def stamp(at: datetime | None) -> str | None:
        return None if at is None else at.isoformat(timespec="seconds")

    return {
        "bed": settings.id,
        "days": days,
        "runs": {outcome.value: count for outcome, count in found.counts.items()},
        "lengthened": found.extended,
        "pump_seconds": round(found.pump_s, 1),
        "lifted_litres": round(found.lifted_l, 3),
        "drunk_litres": round(found.drunk_l, 3),
        "evaporated_litres": round(found.evaporated_l, 3),
        "spilled_litres": round(found.spilled_l, 3),
        "driest_percent": round(found.driest_percent, 2),
        "driest_pot": found.driest_pot,
        "driest_at": stamp(found.driest_at),
        "pots_driest_percent": [round(percent, 2) for percent in found.pots_driest_percent],
        "pots_dry_hours": [round(hours, 2) for hours in found.pots_dry_h],
        "pots_wilted_hours": [round(hours, 2) for hours in found.pots_wilted_h],
        "wilted_hours": round(found.wilted_h, 2),
        "sump_start_litres": round(found.sump_start_l, 3),
        "sump_end_litres": round(found.sump_end_l, 3),
        "ec_end_ms_per_cm": round(found.ec_end, 3),
        "refills": [{"at": stamp(at), "litres": round(litres, 3)} for at, litres in found.refills],
        "sump_low_at": stamp(found.sump_low_at),
        "sump_low_expected": stamp(found.sump_low_expected),
        "trips": [{"at": stamp(at), "reason": reason} for at, reason in found.trips],
        "alerts": [{"at": stamp(at), "text": text} for at, text in found.alerts],
    }
