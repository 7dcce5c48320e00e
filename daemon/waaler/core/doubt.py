"""What is held against an adviser."""

from dataclasses import dataclass

__all__ = ["Doubt"]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Against an adviser. reason: why it was not valid last. times: how often it became so since it last read well
    for long. last_s: when it last was not valid. is_told: people were told, or are to be.
    """

    name: str
    reason: str = ""
    times: int = 0
    last_s: float = float("-inf")
    is_now: bool = False
    is_told: bool = False
