"""A bucket test: what each outlet gave into its cup, from a small table."""

import csv
from dataclasses import dataclass

__all__ = ["Cup", "CupsError", "cups_of_csv"]

COLUMNS = ("outlet", "ml", "seconds")
MOST_LINES = 5001
"""One for every outlet that a layout may have, and the head line."""


class CupsError(ValueError):
    """line and column, from 1: where; what is wrong; remedy: what to write instead."""

    def __init__(self, line: int, column: int, what: str, remedy: str) -> None:
        self.line, self.column, self.what, self.remedy = line, column, what, remedy
        super().__init__(f"{line}:{column}: {what}; {remedy}")


@dataclass(frozen=True, slots=True)
class Cup:
    """outlet: its number from 1, counted from the pump."""

    outlet: int
    litres: float
    seconds: float

    @property
    def l_per_min(self) -> float:
        return 60 * self.litres / self.seconds


def cups_of_csv(text: str) -> tuple[Cup, ...]:
    """The cups in the order of their outlets. Raises CupsError at the first line that makes no sense."""
    written = text.rstrip("\n").split("\n")
    if len(written) > MOST_LINES:
        raise CupsError(MOST_LINES + 1, 1, f"more than {MOST_LINES:,} lines", "write one line for every outlet")
    lines = [_cells(number, line) for number, line in enumerate(written, start=1)]
    header = tuple(cell.strip().lower() for cell in lines[0])
    if header != COLUMNS:
        raise CupsError(1, 1, "the first line does not name the columns", f"write {','.join(COLUMNS)}")
    cups = [_cup(number, row) for number, row in enumerate(lines[1:], start=2) if any(cell.strip() for cell in row)]
    for index, cup in enumerate(sorted(cups, key=lambda cup: cup.outlet), start=1):
        if cup.outlet != index:
            what = f"outlet {index} is missing" if cup.outlet > index else f"outlet {cup.outlet} is there twice"
            raise CupsError(len(lines), 1, what, "write one line for every outlet, counted from the pump")
    if len(cups) < 2:
        raise CupsError(1, 1, "there are fewer than two cups", "write one line for every outlet")
    return tuple(sorted(cups, key=lambda cup: cup.outlet))


def _cells(number: int, line: str) -> list[str]:
    """A quoted cell ends on its line."""
    try:
        return next(csv.reader([line], strict=True), [])
    except csv.Error:
        what = 'a quotation mark (") that does not fit'
        raise CupsError(number, line.find('"') + 1, what, "write plain numbers without quotes") from None


def _cup(line: int, row: list[str]) -> Cup:
    if len(row) != len(COLUMNS):
        raise CupsError(line, 1, f"{len(row)} values", f"write {', '.join(COLUMNS)}")
    numbers, column = [], 1
    for name, cell in zip(COLUMNS, row, strict=True):
        numbers.append(_number(line, column, name, cell.strip()))
        column += len(cell) + 1
    outlet, millilitres, seconds = numbers
    if outlet < 1 or outlet != int(outlet):
        raise CupsError(line, 1, f"'{row[0].strip()}' is no number of an outlet", "count from 1 at the pump")
    if not seconds > 0:
        raise CupsError(line, column - len(row[2]) - 1, "no time", "write how many seconds the outlet ran")
    return Cup(int(outlet), millilitres / 1000, seconds)


def _number(line: int, column: int, name: str, cell: str) -> float:
    try:
        value = float(cell) if len(cell) <= 12 else None
    except ValueError:
        value = None
    if value is None or not 0 <= value < 1e6:
        raise CupsError(line, column, f"'{cell[:20]}' is no {name}", "write a plain number such as 212")
    return value
