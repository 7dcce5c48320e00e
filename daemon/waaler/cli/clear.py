"""Release a lock whose cause is gone."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "clear",
    "clear",
    "Release a lock (ran too long; water moves with the pump off) if its cause is gone. Look at relay and plug"
    " first.\n\nExample: waaler clear",
)
