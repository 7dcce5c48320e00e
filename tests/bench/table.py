"""One figure beside another, and the table that all of them are printed in."""

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Row", "lines", "ratio"]


@dataclass(frozen=True, slots=True)
class Row:
    """what: at most 32 letters. ours, beside: figures with their units, at most 11. is_met: None without a goal.

    ratio: as the goal is told, such as `1.4 x`. goal: at most 14 letters.
    """

    what: str
    ours: str
    beside: str = ""
    ratio: str = ""
    goal: str = ""
    is_met: bool | None = None


def ratio(ours: float, beside: float) -> str:
    return f"{ours / beside:.2f} x"


def lines(rows: Iterable[Row]) -> list[str]:
    """The table in 80 columns; a goal that was missed is marked."""
    head = Row("what", "ours", "beside it", "ratio", "goal")
    return [_line(head, " "), "-" * 80, *(_line(row, "!" if row.is_met is False else " ") for row in rows)]


def _line(row: Row, mark: str) -> str:
    return f"{mark} {row.what:32.32} {row.ours:>11} {row.beside:>11} {row.ratio:>7} {row.goal:>12}".rstrip()
