"""Takes an edited file: only if it is valid, only what can change live, and says what changed."""

from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from waaler.core.alert import AlertKind, Severity
from waaler.core.messages import Message, NewPlan, Notice
from waaler.core.texts import loose
from waaler.settings import Settings, SettingsError, load

__all__ = ["PLAN_REJECTED", "RESTART", "changes", "pins_wait", "reload"]

PLAN_REJECTED = AlertKind.PLAN_REJECTED
RESTART = AlertKind.RESTART_NEEDED
NEEDS_RESTART = ("id", "wiring", "mqtt", "messages")


def reload(path: Path, present: Settings) -> tuple[Settings, list[Message]]:
    """The settings now in force, and what to tell the decisions.

    A file that cannot be read or is not valid changes nothing but an alert. Pins, id and broker stay as they were
    until a restart, which an alert then asks for.
    """
    try:
        new = load(path)
    except Exception as problem:  # whatever it is: a file that cannot be loaded is one that is not taken
        words = loose(
            "The edited file is not taken.",
            "The plan before it stays in force.",
            f"Correct it: {_one_line(problem)}",
            "A valid file is taken by itself.",
        )
        return present, [Notice(PLAN_REJECTED, Severity.SOON, words)]
    waits = [name for name in NEEDS_RESTART if getattr(new, name) != getattr(present, name)]
    messages: list[Message] = [
        Notice(PLAN_REJECTED),
        NewPlan(
            new.plan,
            new.sensing,
            new.limits,
            changes(present, new),
            new.thirst,
            new.file.not_commissioned is not None,
            new.care,
        ),
    ]
    if waits:
        messages.append(_waits_for_restart(", ".join(waits)))
    return new, messages


def pins_wait() -> Notice:
    """The file's pins are others than those that the guard has open."""
    return _waits_for_restart("pins")


def _waits_for_restart(what: str) -> Notice:
    words = loose(
        f"Changes of {what} wait for a restart of the daemon.",
        "Everything else of the file is in force.",
        "Restart the daemon when it suits: `systemctl restart waaler@ID`.",
        "Ends with the restart.",
    )
    return Notice(RESTART, Severity.NOTE, words)


def changes(before: Settings, after: Settings) -> tuple[str, ...]:
    """Every effective value that differs, one line each: `limits.rest_s: 300.0 -> 240.0`."""
    return tuple(
        line
        for name in ("plan", "sensing", "limits")
        for line in _differences(name, getattr(before, name), getattr(after, name))
    )


def _differences(name: str, before: Any, after: Any) -> list[str]:
    if before == after:
        return []
    if type(before) is type(after) and is_dataclass(before):
        return [
            line
            for field in fields(before)
            for line in _differences(
                f"{name}.{field.name}", getattr(before, field.name), getattr(after, field.name)
            )
        ]
    if isinstance(before, tuple) and isinstance(after, tuple) and len(before) == len(after):
        return [
            line
            for n, pair in enumerate(zip(before, after, strict=True))
            for line in _differences(f"{name}.{_label(pair[1], n)}", *pair)
        ]
    return [f"{name}: {_short(before)} -> {_short(after)}"]


def _label(item: Any, n: int) -> str:
    return str(getattr(item, "name", n))


def _short(value: Any) -> str:
    text = str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _one_line(problem: Exception) -> str:
    if isinstance(problem, SettingsError):
        return str(problem).splitlines()[0]
    return f"it cannot be reckoned with ({type(problem).__name__}: {problem})"
