"""Every benchmark in one table: python -m tests.bench [--quick] [NAME ...]

A module of tests/bench is a benchmark if it has

    def rows(is_quick: bool) -> Iterable[Row]

which measures ours beside something else in the same run, and gives figures as tests.bench.table.Row. is_quick: a
fraction of the time, for a look. The README shows the last table, with its date. None of them is a test: figures of one table may be
compared with each other, those of two machines may not. One that cannot run here says why in its row.
"""

import argparse
import pkgutil
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from importlib import import_module

import tests.bench
from tests.bench.machine import machine
from tests.bench.table import Row, lines

Rows = Callable[[bool], Iterable[Row]]


def benches(names: list[str]) -> Iterator[tuple[str, Rows | str]]:
    """Each benchmark's rows, or why it cannot run; all of them, or those named."""
    for found in pkgutil.iter_modules(tests.bench.__path__):
        if found.name.startswith("_") or (names and found.name not in names):
            continue
        try:
            rows = getattr(import_module(f"tests.bench.{found.name}"), "rows", None)
        except ImportError as problem:
            yield found.name, f"not here: {problem.name} is missing"
            continue
        if rows is not None:
            yield found.name, rows


def measured(name: str, rows: Rows | str, is_quick: bool) -> list[Row]:
    if isinstance(rows, str):
        return [Row(name, rows)]
    print(f"{name} ...", file=sys.stderr, flush=True)
    try:
        return list(rows(is_quick))
    except Exception as problem:  # the others are still worth their table
        return [Row(name, f"failed: {problem!r}")]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a look: shorter and coarser")
    parser.add_argument("names", nargs="*", help="benchmarks to run; all if left out")
    arguments = parser.parse_args()
    rows = [row for name, found in benches(arguments.names) for row in measured(name, found, arguments.quick)]
    print(f"{datetime.now(UTC).date()}{', quick' if arguments.quick else ''}; {machine()}")
    print("\n".join(lines(rows)))


if __name__ == "__main__":
    main()
