"""Whoever attends still does."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "confirm",
    "confirm",
    "Say that you still stand by: an attended run goes on for 2 min more.\n\nExample: waaler confirm",
)
