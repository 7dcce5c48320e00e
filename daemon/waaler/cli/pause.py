"""No runs for a while."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "pause",
    "pause",
    "Start no run for LENGTH, at most 12 h; it ends by itself. Switched off by software is not isolated: before"
    " hands go into the sump, pull the pump's plug.\n\nExample: waaler pause 3h",
    has_length=True,
)
