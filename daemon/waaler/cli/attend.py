"""A person stands by."""

from waaler.cli.common import order_command

__all__ = ["command"]

command = order_command(
    "attend",
    "attend",
    "Stand by for LENGTH (at most 6 h), to balance outlets or look for leaks: the plan waits, `waaler water` rests"
    " 10 s and is counted apart, and each run is cut unless `waaler confirm` comes every 2 min. Floats still cut."
    " `waaler resume` ends it.\n\nExample: waaler attend 1h",
    has_length=True,
)
