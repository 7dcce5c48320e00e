"""The `waaler` command: finds the command's own file and loads only that."""

import gc
import pkgutil
from collections.abc import Iterator
from importlib import import_module
from typing import Any

import click

import waaler.cli
from waaler import __version__
from waaler.cli.common import refuse
from waaler.settings.places import FolderError

__all__ = ["commands", "main"]

gc.set_threshold(20_000)
"""A command makes objects that stay; looking through them again and again took a fifth of the time of `check`."""

NOT_COMMANDS = {"main", "common", "rehearsed", "writing"}


class Commands(click.Group):
    """Every other module of this package is a command: `cli/history.py` holds `history`."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        modules = (found.name for found in pkgutil.iter_modules(waaler.cli.__path__))
        return sorted(name.replace("_", "-") for name in modules if name not in NOT_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        module = import_module(f"waaler.cli.{cmd_name.replace('-', '_')}")
        command: click.Command = module.command
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Runs the command; where it finds no folder for its files, that is one line and exit 1."""
        try:
            return super().invoke(ctx)
        except FolderError as problem:
            refuse(str(problem))


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="waaler")
def main() -> None:
    """Keep the water of one recirculating growing bed."""


def commands() -> Iterator[tuple[click.Command, click.Context]]:
    """Every command that people may see, with the context in which its help is told, 80 columns wide."""
    context = click.Context(main, info_name="waaler", terminal_width=80, **main.context_settings)
    for name in main.list_commands(context):
        found = main.get_command(context, name)
        if found is not None and not found.hidden:
            yield found, click.Context(found, info_name=name, parent=context)


if __name__ == "__main__":
    main()
