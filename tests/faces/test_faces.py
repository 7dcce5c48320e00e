"""Whoever asks about the sump, and by which face, hears the same."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.faces.week import differences, play_week

import waaler.notify.fleet
import waaler.page.views
import waaler.report.metrics
import waaler.report.page_of_period
import waaler.report.sump
from waaler.bed.ledger import Entry, Outlook


def found(folder: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    monkeypatch.setenv("STATE_DIRECTORY", str(folder))
    return [difference for said in play_week(folder, seed) for difference in differences(said)]


@pytest.mark.parametrize("seed", range(10))
def test_every_face_tells_the_same_litres_and_the_same_day(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert found(tmp_path, seed, monkeypatch) == []


def _as_it_was(_book: Any, entry: Entry, *_: Any) -> Entry:
    return entry


def _at_the_mark(whole: Callable[..., Outlook]) -> Callable[..., Outlook]:
    return lambda *asked: replace(whole(*asked), cut_at=None)


def _flatter(whole: Callable[..., Any]) -> Callable[..., Any]:
    def read(*asked: Any) -> Any:
        sump = whole(*asked)
        return sump if sump.days_left is None else replace(sump, days_left=1.2 * sump.days_left)

    return read


@pytest.mark.parametrize(
    ("room", "name", "own"),
    [
        (waaler.report.sump, "advanced", lambda _: _as_it_was),
        (waaler.report.sump, "outlook", _at_the_mark),
        (waaler.report.metrics, "read_sump", _flatter),
        (waaler.page.views, "_sump", lambda _: lambda _now: ("150 L", "7.0 days until it needs water")),
        (waaler.notify.fleet, "_sump", lambda _: lambda _sump: "150 L, needs water Mon 22 Jun"),
    ],
)
def test_a_face_with_a_reckoning_of_its_own_is_noticed(
    room: Any, name: str, own: Callable[[Any], Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, name, own(getattr(room, name)))

    assert found(tmp_path, 3, monkeypatch)
