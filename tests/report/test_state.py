"""What is read of the present, and that the daemon which wrote it may be gone: the same for all who read records."""

from collections.abc import Callable
from pathlib import Path

import pytest
from tests.records.facts import WALL_S, at
from tests.report.beds import WAITING, bed

from waaler.core.facts import Act, Deed, Fact, PresentNoted, TripBegan
from waaler.core.status import BedState, Present, Wait
from waaler.guard.messages import Trip
from waaler.guard.names import Hindrance
from waaler.notify.good_day import line
from waaler.page.now import read_now
from waaler.records.reader import Reader
from waaler.records.store import Store
from waaler.report.metrics import metrics
from waaler.report.state import Told, read_state

START = Deed(at(0.0), Act.START, "the daemon started")
LOCK = Present(BedState.LOCKED, wait=Wait(Hindrance.LOCK, "locked: ran too long", None, "find the cause"))


@pytest.fixture
def told(tmp_path: Path) -> Callable[..., Told]:
    def tell(*facts: Fact, after_s: float = 60.0) -> Told:
        store = Store(tmp_path / "terrace.db", "boot-a")
        store.write(list(facts))
        store.close()
        with Reader(tmp_path / "terrace.db") as reader:
            return read_state(reader, bed(), WALL_S + after_s)

    return tell


def test_of_a_bed_whose_daemon_never_started_nothing_is_known(told: Callable[..., Told]) -> None:
    assert told(PresentNoted(at(0.0), WAITING)) == Told(
        "the daemon is not running", "it has not been started yet; nothing waters this bed", True
    )


def test_a_daemon_that_was_stopped_tells_nothing_of_the_present(told: Callable[..., Told]) -> None:
    found = told(START, PresentNoted(at(1.0), WAITING), Deed(at(30.0), Act.STOP, "the daemon stopped"))

    assert found == Told("the daemon is not running", "since today, 08:00; nothing waters this bed", True)


@pytest.mark.parametrize(("after_s", "state"), [(1501.0, "waiting"), (1501.1, "no sign of the daemon")])
def test_what_a_daemon_said_that_writes_no_more_is_no_longer_the_present(
    told: Callable[..., Told], after_s: float, state: str
) -> None:
    found = told(START, PresentNoted(at(1.0), WAITING), after_s=after_s)

    assert found.state == state
    assert (found.present is None) == (state != "waiting")


def test_a_lock_is_told_with_when_it_began_and_what_moved_nothing_has_no_part_in_it(
    told: Callable[..., Told],
) -> None:
    found = told(
        START,
        TripBegan(at(1.0), Trip.OVERRUN, "locked: ran too long", is_locked=True),
        TripBegan(at(130.0), Trip.NO_FLOW, "nothing moves", is_locked=False),
        PresentNoted(at(131.0), LOCK),
    )

    assert found == Told("locked", "since today, 08:00: ran too long; find the cause", True, LOCK)


def test_what_goes_as_wanted_is_no_alarm(told: Callable[..., Told]) -> None:
    assert told(START, PresentNoted(at(1.0), WAITING)) == Told("waiting", "", False, WAITING)


@pytest.mark.parametrize("facts", [(), (Deed(at(30.0), Act.STOP, "the daemon stopped"),)])
def test_page_metrics_and_daily_line_say_the_same_of_a_daemon_that_is_gone(
    tmp_path: Path, facts: tuple[Fact, ...]
) -> None:
    path = tmp_path / "terrace.db"
    store = Store(path, "boot-a")
    store.write([START, PresentNoted(at(1.0), WAITING), *facts])
    store.close()
    now_s = WALL_S + 4000.0
    with Reader(path) as reader:
        state = read_state(reader, bed(), now_s).state
        page, words = read_now(reader, bed(), now_s), line(reader, bed(), now_s)
    scraped = metrics([(bed(), path)], now_s)

    assert (page.told.state, page.next_at) == (state, "none")
    assert state in words
    assert f'state="{state}",waits_for=""' in scraped
    assert "waaler_next_run_seconds" not in scraped
