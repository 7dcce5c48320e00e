"""One sheet for the sump's lid."""

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from waaler.cli.common import Day, echo, echo_json, file_argument, json_option, read_settings, three_digits

if TYPE_CHECKING:
    from waaler.bed.budget import Budget
    from waaler.settings import Settings

__all__ = ["command"]

DAYS = 60
WIDTH = 78
MOST_DATES = 6
EMPTY_LINES = 8
FEWEST_BY_HAND = 2
UNKNOWN = "______________________________"


@click.command("card")
@click.option("--from", "first", type=Day(), help="Dates of refills from this day on; today if left out.")
@json_option
@file_argument
def command(first: datetime | None, as_json: bool, file: Path | None) -> None:
    """Print the sheet for the sump's lid: marks, refills, plug, button, by hand, shut-off, phones.

    What only you know stands under `card:` and `contacts:` in the file; what is left out is a line to write on.

    Example: waaler card > card.txt
    """
    settings = read_settings(file)
    day = date.today() if first is None else first.date()
    told = _card(settings, day)
    if as_json:
        echo_json(told)
        return
    for line in _lines(told):
        echo(line)


def _card(settings: "Settings", day: date) -> dict[str, Any]:
    figures, own = settings.figures, settings.file.card
    found = _expected(settings, day)
    dates = [row.day for row in found.days if row.refill_l > 0][:MOST_DATES]
    dose_s = max(window.seconds for window in settings.plan.windows)
    return {
        "bed": settings.id,
        "title": settings.title,
        "printed_on": day.isoformat(),
        "marks_litres": {
            "full": figures.sump_full_l,
            "sump_low": figures.sump_low_l,
            "pump_draws_air": figures.sump_empty_l,
        },
        "refill_litres": found.refill_l(figures),
        "drink_litres_per_day": round(found.days[0].drink_l, 1),
        "expected_refills": [one.isoformat() for one in dates],
        "plug": own.plug,
        "shut_off": own.shut_off,
        "by_hand": own.by_hand,
        "phones": [f"{one.name}: {one.call or one.mail or UNKNOWN}" for one in settings.file.contacts],
        "has_button": settings.wiring.button is not None,
        "cycle_seconds": dose_s,
        "cycle_litres_by_pot": [round(litres, 2) for litres in figures.given_l(dose_s)],
        "run_back_minutes": settings.limits.run_back_s / 60,
    }


def _expected(settings: "Settings", first: date) -> "Budget":
    """Of the days to come: when the sump is expected to want water, and what the plants drink."""
    from waaler.settings.reckoning import budget_of

    return budget_of(settings, first, DAYS)


def _lines(told: dict[str, Any]) -> Iterator[str]:
    marks = told["marks_litres"]
    yield "=" * WIDTH
    yield f"{told['title']} ({told['bed']})".center(WIDTH).rstrip()
    yield "=" * WIDTH
    yield from _part("BEFORE HANDS GO IN", ["Pull the pump's plug and keep it in your hand.", _of(told, "plug")])
    yield from _part(
        "WATER",
        [
            f"full mark {three_digits(marks['full'])} L; low float at {three_digits(marks['sump_low'])} L; under"
            f" {three_digits(marks['pump_draws_air'])} L the pump draws air.",
            f"Refill {three_digits(told['refill_litres'])} L when it asks; never above the full mark, room must be"
            " left for what runs back.",
            f"Wait {three_digits(told['run_back_minutes'])} min after a run. If the tray stands full, do NOT add"
            " water: the drain is blocked.",
            f"The plants drink about {three_digits(told['drink_litres_per_day'])} L a day now.",
            f"Expected refills: {_dates(told['expected_refills'])}.",
            "Enter it: waaler refill 60L",
        ],
    )
    yield from _part("WHEN IT BEEPS OR BLINKS", _button(told))
    yield from _part("BY HAND", [_by_hand(told)])
    yield from _part(
        "SHUT-OFF", [_of(told, "shut_off"), "Smoke, a shock, water on mains: off at the board, hands off."]
    )
    yield from _part("PHONES", told["phones"] or [UNKNOWN, UNKNOWN])
    yield from _part("REFILLS", ["day          litres     EC      pH     who"])
    for _ in range(EMPTY_LINES):
        yield "  __________   ______   _____   _____   ____________________"
    yield ""
    yield f"  printed {told['printed_on']}; print it anew when the file changes: waaler card"


def _part(head: str, lines: list[str]) -> Iterator[str]:
    yield ""
    yield head
    for line in lines:
        yield from wrap(line, WIDTH - 2, initial_indent="  ", subsequent_indent="    ")


def _of(told: dict[str, Any], key: str) -> str:
    names = {"plug": "The plug", "shut_off": "Main switch or breaker"}
    return f"{names[key]}: {told[key] or UNKNOWN}"


def _dates(days: list[str]) -> str:
    if not days:
        return f"none within {DAYS} days"
    return ", ".join(f"{date.fromisoformat(day):%d %b}" for day in days)


def _button(told: dict[str, Any]) -> list[str]:
    look = "waaler status, or hardware/faults.md: it says what, and whether it is safe to touch."
    if not told["has_button"]:
        return [look]
    return [
        "Button, short: silence. Held 3 s: one planned run. Held 10 s: release what is locked, if its cause is"
        " gone.",
        "Before a start after a stop it beeps and blinks for 15 s: stand back.",
        look,
    ]


def _by_hand(told: dict[str, Any]) -> str:
    if told["by_hand"]:
        return str(told["by_hand"])
    per_pot_l, seconds = _range(told["cycle_litres_by_pot"]), told["cycle_seconds"]
    return (
        f"Pull the plug. With a can out of the sump give every pot {per_pot_l}, at least {FEWEST_BY_HAND} times a"
        f" day, more often when it is hot. With the pump plugged in: `waaler water {seconds:.0f}s`."
    )


def _range(litres: list[float]) -> str:
    """What a cycle gives the pots, the least and the most where they differ."""
    least, most = three_digits(min(litres)), three_digits(max(litres))
    return f"{most} L" if least == most else f"{least} to {most} L, the thirsty ones most"
