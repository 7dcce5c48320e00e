"""What the records cost the card."""

from itertools import pairwise
from pathlib import Path

from tests.records.facts import WALL_S

from waaler.guard.messages import Instant
from waaler.records.store import Sample, Store

SENSORS = ("pot_1", "pot_2", "pot_3", "pot_4", "air")


def test_ten_minutes_of_five_sensors_write_less_than_13_kb_to_the_log(tmp_path: Path) -> None:
    """144 times a day, and some of it once more into the database: 3 MB of the 5 a day that are the goal."""
    path = tmp_path / "terrace.db"
    store = Store(path, "boot-a")
    log = path.with_name("terrace.db-wal")
    sizes = []
    for ten in range(40):
        begin_s = WALL_S + 600 * ten
        minutes = [Sample(name, "%", begin_s + 60 * n, 70.0 + n, 69.0, 81.0) for n in range(10) for name in SENSORS]
        store.write_samples(minutes, Instant(begin_s, begin_s))
        sizes.append(log.stat().st_size)
    store.close()

    grown = [after - before for before, after in pairwise(sizes)]
    assert sum(grown) / len(grown) < 13_000, grown
