"""The page and the report in a real browser: fits, reads, and shows what a daemon does."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.keeper.process import FILE, Daemon, until
from tests.page.asking import NOW_S, write_bed
from tests.report.beds import NASTY, bed, write_days

from waaler.page.beds import Watch
from waaler.page.site import Rules, Site
from waaler.records.reader import Reader
from waaler.report.page_of_period import page_of_period
from waaler.report.period import read_period

pytest.importorskip("playwright")

from tests.page.browser import chromium, serious_faults, served

pytestmark = pytest.mark.browser

OURS = Rules(frozenset({"127.0.0.1"}))
SIZES = [(390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")]
PATHS = ("", "bed/terrace/history", "bed/terrace/run/2")
SHOWN_WITHIN_S = 5.0


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    write_days(tmp_path / "terrace.db", 1, reason=NASTY)
    with served(Site([Watch(write_bed(tmp_path))], OURS, lambda: NOW_S)) as address:
        yield address


@pytest.mark.parametrize(("width", "scheme"), SIZES)
def test_every_page_fits_its_screen_and_has_no_serious_fault(
    browser: Any, home: str, tmp_path: Path, width: int, scheme: str
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    for path in PATHS:
        page.goto(home + path)
        assert page.evaluate("document.documentElement.scrollWidth") == width, path
        assert serious_faults(page) == [], path
        assert NASTY in page.inner_text("h1")
    page.close()
    assert said == [], "nothing was forbidden, and no script of a name ran"


@pytest.mark.parametrize(("width", "scheme"), SIZES)
def test_the_report_fits_its_screen_and_has_no_serious_fault(
    browser: Any, tmp_path: Path, width: int, scheme: str
) -> None:
    write_days(tmp_path / "terrace.db", 3, reason=NASTY)
    with Reader(tmp_path / "terrace.db") as reader:
        period = read_period(reader, bed(NASTY), NOW_S - 86_400, NOW_S + 2 * 86_400, NOW_S + 86_400)
    out = tmp_path / "report.html"
    out.write_text(page_of_period(period))
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)

    page.goto(out.as_uri())

    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert serious_faults(page) == []
    assert page.inner_text("h1") == NASTY
    page.close()


def test_the_page_is_whole_without_scripts_and_reached_by_keys(browser: Any, home: str) -> None:
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(home)

    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")

    page.wait_for_url("**/run/1", timeout=5000)
    assert page.title().startswith("Why? Run 1 of"), "the first link of the content is the why of today's first run"
    page.context.close()


def test_a_run_shows_within_seconds_and_a_trip_with_its_advice(
    browser: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    daemon = Daemon(tmp_path)
    tray = "layout: {tray: {length: 1 m, width: 50 cm, drain: 5 mm, standing: 1 cm, rim: 3 cm}}\n"
    daemon.file.write_text(FILE + tray)
    daemon.start()
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state" / "waaler" / "terrace"))
    try:
        with served(Site([Watch(daemon.file)], OURS, time.time)) as address:
            page = browser.new_page()
            page.goto(address)
            headline = page.locator("#live [role=status]")
            assert headline.inner_text().startswith("waiting")
            daemon.water(120)
            headline.filter(has_text="running").wait_for(timeout=1000 * SHOWN_WITHIN_S)
            headline.filter(has_text="tray too full").wait_for(timeout=90_000)
            page.locator("#live .alarms").filter(has_text="free the drain").wait_for(timeout=1000 * SHOWN_WITHIN_S)
            page.close()
    finally:
        daemon.end()
    until(lambda: daemon.process is not None and daemon.process.poll() is not None, "the daemon's end")
