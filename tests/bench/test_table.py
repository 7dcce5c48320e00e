"""The table of benchmarks: it finds what there is, and fits a terminal."""

from tests.bench.__main__ import benches, measured
from tests.bench.table import Row, lines, ratio


def test_every_benchmark_is_found_by_its_rows() -> None:
    found = {name for name, _ in benches([])}

    assert {"footprint", "history", "manifold", "reaction", "rehearse"} <= found


def test_a_goal_that_was_missed_is_marked_and_every_line_fits_80_columns() -> None:
    met = Row("check, start to end", "200 ms", "160 ms", ratio(200, 160), "1.5 x", True)
    missed = Row(
        "a name that is far too long to stand in the table of all", "1234567 ms", "1 ms", "99999 x", "2 x", False
    )

    told = lines([met, missed])

    assert [line[0] for line in told[2:]] == [" ", "!"]
    assert "1.25 x" in told[2]
    assert max(map(len, told)) <= 80


def test_a_benchmark_that_fails_leaves_the_others_their_table() -> None:
    def rows(is_quick: bool) -> list[Row]:
        raise OSError("no room")

    assert measured("footprint", rows, True) == [Row("footprint", "failed: OSError('no room')")]
