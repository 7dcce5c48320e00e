"""Fill the media: run after run."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "soak",
    "soak",
    "Fill dry media and mix the solution: runs of the longest length with rest between, for LENGTH. Dry pots take a"
    " good part of the sump, so expect to refill; the soak goes on by itself. Perlite dust: wet it before you"
    " pour.\n\nExample: waaler soak 24h",
    has_length=True,
)
