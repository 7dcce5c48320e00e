"""What the bed does now."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from waaler.cli.common import (
    ask_daemon,
    ask_guard,
    daemon_socket,
    echo,
    echo_json,
    file_argument,
    json_option,
    refuse,
)

if TYPE_CHECKING:
    from datetime import datetime

    from waaler.core.status import AlertNow, ReadingNow, Status

__all__ = ["command"]

KEEPER_WAIT_S = 3.0
WIDTH = 79
SAME_S = 5.0
"""Between the guard's end of a run and the keeper's."""


@click.command("status")
@json_option
@file_argument
def command(as_json: bool, file: Path | None) -> None:
    """Tell what the bed does now, when the next run can come and what it waits for, the last run, and the sump.

    Example: waaler status
    """
    answer = _answer(file)
    if as_json:
        echo_json({key: value for key, value in answer.items() if key != "ok"})
        return
    for line in _lines(_read(answer)):
        echo(line)


def _answer(file: Path | None) -> Mapping[str, object]:
    """Of the keeper; where that hangs, what the guard holds, and the end."""
    from waaler.notify.asking import ask

    bed, path = daemon_socket(file)
    try:
        return ask(path, {"do": "status"}, KEEPER_WAIT_S)
    except PermissionError:
        return ask_daemon(file, {"do": "status"})  # it says what to do about that
    except (OSError, ValueError):
        _refuse_with_what_is_held(bed, file)


def _read(answer: Mapping[str, object]) -> "Status":
    from waaler.core.status import status_of

    try:
        return status_of(answer)
    except ValueError:
        refuse("the daemon's answer is no status; is it of another version? Look at `status --json`")


def _refuse_with_what_is_held(bed: str, file: Path | None) -> NoReturn:
    held = ask_guard(file, "holds")
    what = "; ".join([held["text"], *held["locks"], *held["holds"]])
    refuse(f"{bed}: {what}. The keeper does not answer; the guard begins it again.")


def _lines(told: "Status") -> list[str]:
    from waaler.core.status import next_words, state_words, wait_words

    now = told.at
    if now is None:
        return [f"{told.title} ({told.bed}): {told.state}"]
    when, what = next_words(told, now)
    used_min, most_min = told.pump_seconds_24h / 60, told.most_seconds_24h / 60
    rows = [
        ("now", state_words(told, now) if told.run is not None else ""),
        ("hold", _hold(told, now)),
        ("next", f"{when}; {what}" if what else when),
        ("waits", wait_words(told, now)),
        ("starts", _announced(told)),
        ("by hand", _by_hand(told)),
        ("last", _last(told, now)),
        ("sump", _sump(told, now)),
        ("to see", f"{', '.join(told.to_be_seen)}; then the plan may water" if told.to_be_seen else ""),
        *(("input", f"{name}: {level}") for name, level in told.inputs.items()),
        *(("sensor", _reading(reading)) for reading in told.readings),
        ("pump", f"{used_min:.0f} of {most_min:.0f} min in 24 h; clock {told.clock}"),
        *(("stopped", trip) for trip in told.trips if told.wait is None or trip != told.wait.reason),
        *(("warning", warning) for warning in told.warnings),
    ]
    lines = [f"{told.title} ({told.bed}): {told.state}"]
    for name, text in rows:
        lines += _wrapped(text, f"  {name:<8} ", " " * 11) if text else []
    for alert in told.alerts:
        lines += _alert(alert)
    return lines


def _hold(told: "Status", now: "datetime") -> str:
    """A hold that stands, unless it is what the next run waits for."""
    from waaler.core.status import hold_words
    from waaler.guard.names import Hindrance

    hold = told.standing
    if hold is None or (told.wait is not None and told.wait.what == Hindrance.HOLD):
        return ""
    return f"{hold.what} {hold_words(hold, now)}"


def _announced(told: "Status") -> str:
    seconds = told.announced_for_seconds
    return f"in {seconds:.0f} s, announced at the bed" if seconds else ""


def _by_hand(told: "Status") -> str:
    """What would refuse `waaler water` now, unless the next run waits for the same."""
    held = told.held_by
    if held is None or told.run is not None or (told.wait is not None and told.wait.reason == held.reason):
        return ""
    left = "" if held.seconds is None else f", {held.seconds / 60:.1f} min more"
    return f"no: {held.reason}{left}"


def _last(told: "Status", now: "datetime") -> str:
    from waaler.core.status import moment_words

    last, full = told.last_run, told.last_full_at
    if last is None:
        return "no run yet" if full is None else f"full run {moment_words(full, now)}"
    words = f"{moment_words(last.ended, now)}; {last.seconds:.0f} s, {last.reason}"
    if full is None:
        return f"{words}; no full run yet"
    is_full = abs((full - last.ended).total_seconds()) < SAME_S
    return words if is_full else f"{words}; last full run {moment_words(full, now)}"


def _sump(told: "Status", now: "datetime") -> str:
    """Nobody is to add water while it cannot run back."""
    from waaler.core.status import sump_words
    from waaler.guard.names import Input, Level

    is_full = told.inputs.get(Input.TRAY_HIGH) == Level.BAD
    return sump_words(told.sump, now) + ("; add none now: the tray is full" if is_full else "")


def _alert(alert: "AlertNow") -> list[str]:
    """Its name and severity, then each line of its text."""
    taken = f", acknowledged by {alert.acknowledged}" if alert.acknowledged else ""
    lines = [f"  {alert.severity.upper()} ({alert.kind}{taken})"]
    for line in alert.text.splitlines():
        lines += _wrapped(line, "    ", "      ")
    return lines


def _reading(reading: "ReadingNow") -> str:
    value = "no value" if reading.value is None else f"{reading.value:.3g} {reading.unit}".replace(" 1", "")
    return f"{reading.name}: {value}" + ("" if reading.valid else f" (not valid: {reading.reason})")


def _wrapped(text: str, first: str, others: str) -> list[str]:
    from textwrap import wrap

    return wrap(text, width=WIDTH, initial_indent=first, subsequent_indent=others)
