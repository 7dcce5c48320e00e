"""What the bed does now."""

from pathlib import Path
from typing import Any, NoReturn

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

__all__ = ["command"]

KEEPER_WAIT_S = 3.0


@click.command("status")
@json_option
@file_argument
def command(as_json: bool, file: Path | None) -> None:
    """Tell what the bed does now, what comes next, and what stands in the way.

    Example: waaler status
    """
    answer = _answer(file)
    if as_json:
        echo_json({key: value for key, value in answer.items() if key != "ok"})
        return
    for line in _lines(answer):
        echo(line)


def _answer(file: Path | None) -> dict[str, Any]:
    """Of the keeper; where that hangs, what the guard holds, and the end."""
    from waaler.notify.asking import ask

    bed, path = daemon_socket(file)
    try:
        return ask(path, {"do": "status"}, KEEPER_WAIT_S)
    except PermissionError:
        return ask_daemon(file, {"do": "status"})  # it says what to do about that
    except (OSError, ValueError):
        _refuse_with_what_is_held(bed, file)


def _refuse_with_what_is_held(bed: str, file: Path | None) -> NoReturn:
    held = ask_guard(file, "holds")
    what = "; ".join([held["text"], *held["locks"], *held["holds"]])
    refuse(f"{bed}: {what}. The keeper does not answer; the guard begins it again.")


def _lines(status: dict[str, Any]) -> list[str]:
    lines = [f"{status['title']} ({status['bed']}): {status['state']}"]
    run, following, standing = status["run"], status["next"], status["standing"]
    if run is not None:
        why = f", {run['cause']}: {run['reason']}" if run["reason"] else ""
        lines.append(f"  running {run['seconds_left']:.0f} s more{why}")
    if standing is not None:
        lines.append(f"  {standing['what']} by {standing['by']} until {_clock(standing['until'])}")
    if following is not None:
        lines.append(
            f"  next     {_clock(following['start'])}, {following['seconds']:.0f} s ({following['window']})"
        )
    if status["announced_for_seconds"]:
        lines.append(f"  starts   in {status['announced_for_seconds']:.0f} s, announced at the bed")
    held = status["held_by"]
    if held is not None and run is None:
        lines.append(f"  held     {held['reason']}{_for(held['seconds'])}")
    if status["to_be_seen"]:
        lines.append(f"  to see   {', '.join(status['to_be_seen'])}; then the plan may water")
    lines += [f"  input    {name}: {level}" for name, level in status["inputs"].items()]
    lines += [f"  sensor   {_reading(reading)}" for reading in status["readings"]]
    used, most = status["pump_seconds_24h"] / 60, status["most_seconds_24h"] / 60
    lines.append(f"  pump     {used:.0f} of {most:.0f} min in 24 h; clock {status['clock']}")
    lines += [f"  stopped  {trip}" for trip in status["trips"]]
    lines += [f"  warning  {warning}" for warning in status["warnings"]]
    for alert in status["alerts"]:
        lines += _alert(alert)
    return lines


def _alert(alert: dict[str, Any]) -> list[str]:
    """Its name and severity, then each line of its text."""
    taken = f", acknowledged by {alert['acknowledged']}" if alert.get("acknowledged") else ""
    lines = [f"  {alert['severity'].upper()} ({alert['kind']}{taken})"]
    for line in alert["text"].splitlines():
        lines += _wrapped(line)
    return lines


def _for(seconds: float | None) -> str:
    return "" if seconds is None else f", {seconds / 60:.1f} min more"


def _clock(stamp: str) -> str:
    return stamp[:16].replace("T", " ")


def _reading(reading: dict[str, Any]) -> str:
    value = (
        "no value" if reading["value"] is None else f"{reading['value']:.3g} {reading['unit']}".replace(" 1", "")
    )
    return f"{reading['name']}: {value}" + ("" if reading["valid"] else f" (not valid: {reading['reason']})")


def _wrapped(text: str) -> list[str]:
    from textwrap import wrap

    return wrap(text, width=78, initial_indent="    ", subsequent_indent="      ")
