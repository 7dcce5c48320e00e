"""End a pause, a service or a soak early."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command("resume", "resume", "End a pause, a service or a soak early.\n\nExample: waaler resume")
