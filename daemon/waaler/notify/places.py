"""Where the notifier finds what it follows."""

from dataclasses import dataclass
from pathlib import Path

__all__ = ["Places"]


@dataclass(frozen=True, slots=True)
class Places:
    """database: the records. deliveries: our own file beside it. control: the daemon's socket."""

    database: Path
    deliveries: Path
    control: Path
