"""Pump time and starts since pump and filter were last cleaned."""

from dataclasses import dataclass

__all__ = ["Upkeep"]


@dataclass(frozen=True, slots=True)
class Upkeep:
    """Since a person last entered a cleaning."""

    pumped_s: float = 0.0
    starts: int = 0
