"""The worked example."""

import click

__all__ = ["command"]


@click.command("example")
def command() -> None:
    """Print the worked example of a bed's file.

    Example: waaler example > terrace.yaml
    """
    from waaler.settings.places import EXAMPLE

    click.echo(EXAMPLE.read_text(encoding="utf-8"), nl=False)
