"""What is wrong with a file, where, and what to write instead."""

from dataclasses import dataclass

from waaler.visible import one_line

__all__ = ["Fault", "SettingsError"]

LONGEST = 2000


@dataclass(frozen=True, slots=True)
class Fault:
    """line and column count from 1. remedy: what to write instead."""

    file: str
    line: int
    column: int
    what: str
    remedy: str

    def __str__(self) -> str:
        """One line, whatever the file's name and text hold."""
        place = f"{self.file}:{self.line}:{self.column}"
        return one_line(f"{place}: {self.what}; {self.remedy}", LONGEST)


class SettingsError(ValueError):
    """Every fault of a file, in the order of their places; printed one a line."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = tuple(sorted(faults, key=lambda fault: (fault.line, fault.column)))
        super().__init__("\n".join(map(str, self.faults)))
