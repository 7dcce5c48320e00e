"""Files that people write: settings and the tables that they name, damaged anywhere."""

import random
from collections.abc import Iterator
from pathlib import Path

from waaler.settings import SettingsError, load
from waaler.settings.places import EXAMPLE

__all__ = ["settings_files", "tables"]

WORDS = (
    b"NaN", b".inf", b"1e999", b"-1", b"0", b"", b"null", b"{}", b"[]", b"!!python/object:os.system x", b"&a [*a]", b"<<: *a",
    b"9" * 400, b"2026-02-30", b"25:61", b"1 km", b"100 %", b"\xff", b"\0", b"\t", b"\xef\xbb\xbf", b"\xe2\x80\xa8", b"'", b'"', b"- - -",
)  # fmt: skip
BY_WEATHER = """\
bed: terrace
place: {timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}
plan: [{window: early, cycles: 4, between: ["05:30", "20:30"], water: 2 min}]
crops: [{name: a, pots: 4, planted: 2026-05-01, canopy: 0.3 m2, stages: [20, 30, 40, 20], kc: [0.6, 1.1, 0.9]}]
weather: {csv: t.csv}
"""
TABLE = b"date,t_max_c,t_min_c\n" + b"".join(
    b"2026-06-%02d,%d,%d\n" % (n, 20 + n % 9, 10 + n % 5) for n in range(1, 31)
)


def settings_files(chance: random.Random, folder: Path) -> Iterator[str | None]:
    """Settings, or a rejected file whose faults have a place and are one line each."""
    path, whole = folder / "t.yaml", EXAMPLE.read_bytes()
    while True:
        path.write_bytes(_damaged(chance, whole))
        yield _loaded(path)


def tables(chance: random.Random, folder: Path) -> Iterator[str | None]:
    """The same of a weather table."""
    path = folder / "t.yaml"
    path.write_text(BY_WEATHER)
    while True:
        (folder / "t.csv").write_bytes(_damaged(chance, TABLE))
        yield _loaded(path)


def _damaged(chance: random.Random, whole: bytes) -> bytes:
    data = bytearray(whole)
    for _ in range(chance.choice((1, 1, 2, 5))):
        kind, at = chance.randrange(4), chance.randrange(len(data) + 1)
        if kind == 0:
            data[at : at + chance.choice((0, 1, 3, 40))] = chance.randbytes(chance.choice((0, 1, 3, 40)))
        elif kind == 1:
            data[at : at + chance.choice((0, 4, 10))] = chance.choice(WORDS)
        elif kind == 2:
            there = chance.randrange(len(data) + 1)
            data[at:at] = data[there : there + chance.choice((1, 20, 300))]
        else:
            _put_value(chance, data, at)
    return bytes(data[: chance.randrange(len(data) + 1)] if chance.random() < 0.1 else data)


def _put_value(chance: random.Random, data: bytearray, at: int) -> None:
    """Another value behind the next colon or comma."""
    for sign in (b": ", b","):
        begin = data.find(sign, at)
        end = data.find(b"\n", begin)
        if -1 < begin < end:
            data[begin + len(sign) : end] = chance.choice(WORDS)
            return


def _loaded(path: Path) -> str | None:
    try:
        load(path)
    except SettingsError as problem:
        wrong = [line for line in str(problem).splitlines() if not line.startswith(str(path.parent))]
        return f"a fault without a place: {wrong}" if wrong or not str(problem) else None
    except Exception as problem:
        kept = path.with_name("kept")
        kept.write_bytes(path.read_bytes())
        return f"{kept}: {type(problem).__name__}: {problem}"
    return None
