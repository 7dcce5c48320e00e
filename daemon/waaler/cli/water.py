"""Water now, within the limits."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "water",
    "water",
    "Run the pump now for LENGTH, within the guard's limits.\n\nExample: waaler water 90s",
    has_length=True,
)
