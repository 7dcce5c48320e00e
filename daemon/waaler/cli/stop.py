"""End the run in progress."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "stop", "stop", "End the run in progress; the plan goes on with its next cycle.\n\nExample: waaler stop"
)
