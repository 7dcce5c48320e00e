"""Every command and every key of a bed's file, on one page."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from waaler.settings.reference import Key, Part

__all__ = ["command", "manual"]

HEAD = """\
# Manual of Waaler

Printed by `waaler manual`: every command as its `--help` tells it, then every key of a bed's file. How to begin is
in the README; what each stop and alert means, in hardware/faults.md.

Before anything is wired: hardware/cautions.md. Mains and water kill; off by software is not isolated.
"""
FILE_HEAD = """\
## The bed's file

A list's items stand under a path with `[]`. Quantities carry their unit, times of day stand in quotes. A key
without a default may be left out unless it is *needed*. `waaler example` prints a file with comments; `waaler
check` tells what is wrong in one.
"""


@click.command("manual")
def command() -> None:
    """Print every command's help and every key of a bed's file, as Markdown.

    Example: waaler manual | less
    """
    click.echo(manual(), nl=False)


def manual() -> str:
    """The page as it stands in config/manual.md."""
    from waaler.settings.reference import parts

    lines = [HEAD, "## Commands\n", *_commands(), FILE_HEAD]
    for part in parts():
        lines += _part(part)
    return "\n".join(lines)


def _commands() -> Iterator[str]:
    from waaler.cli.main import commands

    for found, context in commands():
        yield f"### {context.info_name}\n\n```text\n{found.get_help(context)}\n```\n"


def _part(part: "Part") -> Iterator[str]:
    yield f"### {part.path or 'At the top'}\n\n{part.about}\n"
    yield "| key | value | default | |\n|---|---|---|---|"
    yield from (_row(key) for key in part.keys)
    yield ""


def _row(key: "Key") -> str:
    value = f"see {key.below}" if key.below is not None else key.kind
    if key.limits:
        value = f"{value}; {key.limits}"
    default = "*needed*" if key.is_needed else key.default or ""
    return f"| `{key.name}` | {value} | {default} | {key.meaning} |"
