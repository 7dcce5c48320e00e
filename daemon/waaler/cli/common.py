"""What commands share: finding the file, telling what is wrong with it, printing."""

import json
import sys
from collections.abc import Callable, Mapping
from datetime import datetime
from math import floor, log10
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from waaler.visible import visible

if TYPE_CHECKING:
    from waaler.settings import Settings, SettingsError

__all__ = [
    "Day",
    "Mishap",
    "Seconds",
    "ask_daemon",
    "ask_guard",
    "daemon_socket",
    "echo",
    "echo_json",
    "enter",
    "file_argument",
    "guard_socket",
    "json_option",
    "json_text",
    "order_command",
    "read_settings",
    "refuse",
    "refuse_faults",
    "sure_option",
    "three_digits",
]

ANSWER_WAIT_S = 6.0

file_argument = click.argument("file", required=False, type=click.Path(path_type=Path))
sure_option = click.option("--sure", is_flag=True, help="Enter it though the bed can hardly hold so much.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def read_settings(file: Path | None) -> "Settings":
    """The settings of FILE, or of the file that is found without it; ends with 2 and every fault on its line."""
    from waaler.settings import SettingsError, load
    from waaler.settings.places import find

    try:
        return load(_short(find(file)))
    except SettingsError as problem:
        refuse_faults(problem)


def refuse_faults(problem: "SettingsError") -> NoReturn:
    """Every fault of a file on its line, and the end."""
    for fault in problem.faults:
        echo(str(fault), err=True)
    sys.exit(2)


def _short(path: Path) -> Path:
    """Relative to here if it lies below, so that places fit a line."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_absolute() and path.is_relative_to(here) else path


def refuse(text: str, status: int = 1) -> NoReturn:
    """One line on the error stream, and the end."""
    echo(text, err=True)
    sys.exit(status)


def three_digits(value: float) -> str:
    """At most three significant digits, without an exponent: 1103 becomes 1100, 9.0 becomes 9."""
    if value == 0:
        return "0"
    digits = 2 - floor(log10(abs(value)))
    text = f"{round(value, digits):.{max(0, digits)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def echo(text: str, err: bool = False, nl: bool = True) -> None:
    """Prints it. What would steer the terminal is written out: much of what is shown comes from outside."""
    click.echo(visible(text), err=err, nl=nl)


def echo_json(value: Any) -> None:
    click.echo(json_text(value))


def json_text(value: Any) -> str:
    """Indented JSON; plain ASCII where a character would steer a terminal."""
    text = json.dumps(value, indent=2, ensure_ascii=False)
    return text if visible(text) == text else json.dumps(value, indent=2)


class Seconds(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """A length such as `90s` or `3h`."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from waaler.settings.units import DURATION, UnitError, amount

        try:
            seconds = amount(str(value), DURATION)
        except UnitError as problem:
            self.fail(str(problem), param, ctx)
        if not seconds > 0:
            self.fail("the length must be above zero", param, ctx)
        return seconds


class Mishap(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """A mistake in the simulated wiring, such as swapped-floats."""

    name = "mishap"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        from waaler.devices.hands import MISHAPS

        if value not in MISHAPS:
            self.fail(f"known: {', '.join(MISHAPS)}", param, ctx)
        return str(value)


class Day(click.DateTime):
    """A day such as 2026-06-21, in the years that a plan may speak of."""

    name = "day"

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime:
        from waaler.settings.fields import FIRST_DAY, LAST_DAY

        day: datetime = super().convert(value, param, ctx)
        if not FIRST_DAY <= day.date() <= LAST_DAY:
            self.fail(f"{value} is not between {FIRST_DAY} and {LAST_DAY}", param, ctx)
        return day


def daemon_socket(file: Path | None) -> tuple[str, Path]:
    """The bed's id and its daemon's socket; a file with faults keeps nobody from stopping the pump."""
    from waaler.settings import SettingsError
    from waaler.settings.places import bed_id, find, socket_file

    try:
        bed = bed_id(find(file))
    except SettingsError as problem:
        refuse(str(problem), 2)
    return bed, socket_file(bed)


def guard_socket(path: Path) -> Path:
    """The guard's own socket, beside the keeper's."""
    return path.with_name(f"{path.stem}.guard.sock")


def ask_daemon(file: Path | None, order: Mapping[str, object]) -> dict[str, Any]:
    """The daemon's answer; ends with 1 and one line where none is there."""
    bed, path = daemon_socket(file)
    return _ask(bed, path, order)


def enter(file: Path | None, order: dict[str, Any], is_sure: bool) -> NoReturn:
    """Hands an entry to the daemon. One that the bed can hardly hold is asked back at a terminal; ends."""
    answer = ask_daemon(file, {**order, "is_sure": True} if is_sure else order)
    if answer.get("is_doubtful") is True:
        if not _is_at_terminal():
            refuse(f"{answer['text']}; nothing was entered. If it is true, say --sure")
        if not click.confirm(f"{visible(answer['text'])}. Enter it all the same?"):
            refuse("nothing was entered")
        answer = ask_daemon(file, {**order, "is_sure": True})
    echo(answer["text"])
    sys.exit(0 if answer.get("ok") else 1)


def _is_at_terminal() -> bool:
    return sys.stdin.isatty()


def ask_guard(file: Path | None, do: str) -> dict[str, Any]:
    """The answer of the guard itself, which takes `stop` and `holds` whatever else hangs. Ends as `ask_daemon`."""
    bed, path = daemon_socket(file)
    return _ask(bed, guard_socket(path), {"do": do})


def _ask(bed: str, path: Path, order: Mapping[str, object]) -> dict[str, Any]:
    from waaler.notify.asking import ask

    try:
        return ask(path, order, ANSWER_WAIT_S)
    except PermissionError:
        refuse(f"you may not give orders to {bed}: `adduser YOU waaler` and log in anew, or be root")
    except (OSError, ValueError):
        refuse(f"no daemon answers for {bed}; start it with `waaler run` or its unit")


def order_command(name: str, do: str, help_text: str, has_length: bool = False) -> click.Command:
    """A command that hands one order to the daemon and prints its answer."""

    def give(file: Path | None, length: float | None = None) -> None:
        order: dict[str, object] = {"do": do}
        if length is not None:
            order["seconds"] = length
        answer = ask_daemon(file, order)
        echo(answer["text"])
        sys.exit(0 if answer.get("ok") else 1)

    decorated: Callable[..., None] = file_argument(give)
    if has_length:
        decorated = click.argument("length", type=Seconds())(decorated)
    return click.command(name, help=help_text)(decorated)
