"""Solution change or cleaning: pump off, level alerts silent."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "service",
    "service",
    "Keep the pump off and level alerts silent for LENGTH while you change the solution or clean; it ends"
    " by itself with a look at the inputs. Pull the pump's plug before hands go into the sump: switched off"
    " by software is not isolated.\n\nExample: waaler service 1h",
    has_length=True,
)
