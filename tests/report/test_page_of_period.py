"""The report of a period: every reason is there, and nothing of it comes from outside."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from tests.records.facts import WALL_S, at, whole_run
from tests.report.beds import DAY_S, MIDNIGHT_S, NASTY, bed, write_days

from waaler.bed.ledger import Entry
from waaler.core.facts import Outcome, SumpNoted, TripBegan
from waaler.guard.messages import Trip
from waaler.records.reader import Reader
from waaler.records.store import Sample, Store
from waaler.report.page_of_period import page_of_period
from waaler.report.period import Period, read_period
from waaler.report.words import events, length, verdict


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "terrace.db"


def period(path: Path, days: int = 3, title: str = "Terrace bed") -> Period:
    end_s = MIDNIGHT_S + days * DAY_S
    with Reader(path) as reader:
        return read_period(reader, bed(title), MIDNIGHT_S, end_s, end_s - 3600)


class Words(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.words, self.tags = "", set[str]()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.words += data + "\n"


def test_every_skip_cut_trip_and_deed_is_told_with_its_reason(path: Path) -> None:
    write_days(path)

    words = Words(page_of_period(period(path))).words

    for part in (
        "1 of 7 cycles did not run their time: 1 cut short. The reasons stand below.",
        "pot_3 reads 92 %, wet above 90 %",
        "cut short after 40 s",
        "tray too full: is the drain blocked?; over after 29 min 20 s",
        "Do NOT add water; free the drain.",
        "refill by anna",
        "60 L of solution",
        "EC 2.9 mS/cm",
    ):
        assert part in words


def test_water_is_told_beside_what_was_expected(path: Path) -> None:
    write_days(path)

    words = Words(page_of_period(period(path))).words

    pump_l = (3 * 120 + 40) / 60 * 9
    assert f"{pump_l:.0f} L" in words
    assert "the plants were expected to drink\n30 L" in words
    assert "poured in, 1 refills\n60 L" in words


def test_a_name_with_markup_is_shown_as_text_everywhere(path: Path) -> None:
    write_days(path, reason=NASTY)

    page = page_of_period(period(path, title=NASTY))

    told = Words(page)
    assert "script" not in told.tags
    assert told.words.count(NASTY) >= 3


def test_a_report_asks_for_nothing_from_outside(path: Path) -> None:
    write_days(path)

    page = page_of_period(period(path))

    addresses = set(re.findall(r'(?:src|href|url)\s*[=(]\s*["\']?([^"\')\s>]+)', page))
    assert addresses <= {"#hatch"}
    assert set(re.findall(r"https?://[^\"\s]+", page)) <= {"http://www.w3.org/2000/svg"}


def test_a_month_of_five_cycles_a_day_weighs_less_than_100_kb(path: Path) -> None:
    write_days(path, 30)

    assert len(page_of_period(period(path, 30)).encode()) < 100_000


def test_nothing_recorded_is_a_report_too(path: Path) -> None:
    Store(path, "boot-a").close()

    words = Words(page_of_period(period(path))).words

    assert "No cycle was due in this period." in words
    assert "nothing is known of its level yet" in words
    assert "no probe gave a reading in this period" in words


def test_a_run_that_moved_nothing_stops_no_plan(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write([*whole_run(1, 0.0), TripBegan(at(40.0), Trip.NO_FLOW, "nothing moves", is_locked=False)])
    store.close()

    assert "Stopped for safety" not in verdict(period(path))


def test_a_trip_that_stands_is_the_verdict(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write([*whole_run(1, 0.0), TripBegan(at(500.0), Trip.OVERRUN, "ran too long", is_locked=True)])
    store.close()

    assert verdict(period(path)) == (
        "Stopped for safety since Sun 21 Jun, 08:08: ran too long. Nothing runs until that is over."
    )


def test_runs_that_were_refused_alike_are_told_as_one(path: Path) -> None:
    store = Store(path, "boot-a")
    for n in range(6):
        store.write(whole_run(n + 1, 600.0 * n, 0.0, Outcome.REFUSED, reason="sump low"))
    store.write(whole_run(9, 5000.0, 0.0, Outcome.REFUSED, reason="tray too full"))
    store.close()

    assert [(event.what, event.why) for event in events(period(path))] == [
        ("refused", "tray too full"),
        ("refused 6 times, 08:00 to 08:50", "sump low"),
    ]


def test_the_sump_is_the_ledgers_where_nothing_measures_it(path: Path) -> None:
    store = Store(path, "boot-a")
    begin_s = MIDNIGHT_S - WALL_S
    store.write([SumpNoted(at(begin_s), Entry(220.0, 2.0))])
    store.write([SumpNoted(at(begin_s + DAY_S), Entry(45.0, 2.0), is_read=True)])
    store.write([SumpNoted(at(begin_s + 2 * DAY_S), Entry(220.0, 2.0))])
    store.close()

    sump = period(path, 4).sump

    levels = [(round((at_s - MIDNIGHT_S) / DAY_S, 2), round(litres, 6)) for at_s, litres in sump.points]
    assert levels[:6] == [(0.0, 220.0), (1.0, 210.0), (1.0, 45.0), (2.0, 35.0), (2.0, 220.0), (3.0, 210.0)]
    assert sump.is_expected
    assert sump.now_l is not None
    assert sump.days_left == pytest.approx((sump.now_l - 45) / 10, abs=0.3)


def test_the_curve_of_a_measured_sump_is_what_was_measured(path: Path) -> None:
    store = Store(path, "boot-a")
    store.write_samples(
        [Sample("sump", "L", MIDNIGHT_S + 600 * n, 200.0 - n, 199 - n, 201 - n) for n in range(100)]
    )
    store.close()

    sump = period(path).sump

    assert (sump.is_expected, sump.points[0][1], sump.now_l) == (False, 199.5, None)


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(0, "0 s"), (59.6, "1 min"), (150, "2 min 30 s"), (3660, "1 h 1 min"), (86_400, "24 h"), (200_000, "2 days")],
)
def test_lengths_are_told_as_people_say_them(seconds: float, told: str) -> None:
    assert length(seconds) == told
