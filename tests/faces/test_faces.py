"""Whoever asks about the bed, and by which face, hears the same: of the sump, the state, and the next run."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.faces import week
from tests.faces.said import differences
from tests.faces.week import play_week

import waaler.cli.status
import waaler.keeper.status
import waaler.notify.fleet
import waaler.notify.follower
import waaler.notify.good_day
import waaler.page.now
import waaler.page.views
import waaler.records.reader
import waaler.records.store
import waaler.report.metrics
import waaler.report.page_of_period
import waaler.report.sump
from waaler.bed.ledger import Entry, Outlook
from waaler.core.status import Present
from waaler.plan.timetable import upcoming
from waaler.records.reader import Reader
from waaler.report.state import Told

Own = Callable[[Any], Any]


def found(folder: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    monkeypatch.setenv("STATE_DIRECTORY", str(folder))
    return [difference for said in play_week(folder, seed) for difference in differences(said)]


@pytest.mark.parametrize("seed", range(10))
def test_every_face_tells_the_same(tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    assert found(tmp_path, seed, monkeypatch) == []


# --- faces with a reckoning of their own ---------------------------------------------------------


def _as_it_was(_book: Any, entry: Entry, *_: Any) -> Entry:
    return entry


def _at_the_mark(whole: Callable[..., Outlook]) -> Callable[..., Outlook]:
    return lambda *asked: replace(whole(*asked), cut_at=None)


def _flatter(whole: Callable[..., Any]) -> Callable[..., Any]:
    def read(*asked: Any) -> Any:
        sump = whole(*asked)
        return sump if sump.days_left is None else replace(sump, days_left=1.2 * sump.days_left)

    return read


SUMPS: list[tuple[Any, str, Own]] = [
    (waaler.report.sump, "advanced", lambda _: _as_it_was),
    (waaler.report.sump, "outlook", _at_the_mark),
    (waaler.report.metrics, "read_sump", _flatter),
    (waaler.page.views, "_sump", lambda _: lambda _now: ("150 L", "7.0 days until it needs water")),
    (waaler.notify.fleet, "_sump", lambda _: lambda _sump: "150 L, low Mon 22 Jun"),
    (waaler.cli.status, "_lines", lambda true: lambda told: true(replace(told, sump=replace(told.sump, days=7.0)))),
]


# --- with words, or a next run, of their own -----------------------------------------------------


def _planned(_present: Any, bed: Any, now: datetime) -> tuple[str, str]:
    """The plan's next cycle, whatever holds it: as the page had it."""
    cycle = upcoming(bed.plan, now.astimezone(UTC))[0]
    start = cycle.start.astimezone(bed.zone)
    when = f"today, {start:%H:%M}" if start.date() == now.date() else f"{start:%a %-d %b, %H:%M}"
    return when, f"{cycle.seconds:.0f} s, {cycle.key.window}"


def _unhindered(present: Present) -> Present:
    return replace(present, wait=None)


def _with_rows(row: str, own: str) -> Own:
    """The shell's lines with one row of its own."""

    def changed(true: Callable[[Any], list[str]]) -> Callable[[Any], list[str]]:
        return lambda told: [own if line.startswith(f"  {row} ") else line for line in true(told)]

    return changed


def _watering(true: Callable[..., Any]) -> Callable[..., Any]:
    """The page's old words for a run."""

    def state(*asked: Any) -> Any:
        told = true(*asked)
        return replace(told, state="watering") if told.state == "running" else told

    return state


def _only_when_held(true: Callable[..., Any]) -> Callable[..., Any]:
    def add(families: Any, *asked: Any) -> None:
        true(families, *asked)
        families.next.samples = [(labels, value + 600.0) for labels, value in families.next.samples]

    return add


def _ran_its_time(_: Any) -> Callable[[Reader], Any]:
    """As it was: the last run that was done, a soak's too."""

    def last(reader: Reader) -> Any:
        rows = [run for run in reader.runs(0.0, 4e9) if run.outcome == "done"]
        return rows[-1] if rows else None

    return last


def _without(**gone: Any) -> Own:
    return lambda true: lambda status: {**true(status), **gone}


WORDS: list[tuple[Any, str, Own]] = [
    (waaler.page.now, "_next", lambda _: _planned),
    (waaler.page.now, "read_state", lambda _: lambda *_: Told("waiting", "for the next cycle", False)),
    (waaler.page.now, "read_state", _watering),
    (waaler.report.metrics, "read_state", _watering),
    (waaler.page.now, "reason_words", lambda _: lambda *_: ""),
    (waaler.report.metrics, "_add_present", _only_when_held),
    (waaler.notify.good_day, "_waits", lambda _: lambda *_: ""),
    (waaler.notify.good_day, "next_words", lambda _: lambda *_: ("Mon 22 Jun, 06:00", "")),
    (waaler.notify.fleet, "reason_words", lambda _: lambda *_: "a hold"),
    (waaler.notify.follower, "as_told", _without(state="waiting")),
    (waaler.notify.follower, "as_told", _without(wait=None)),
    (waaler.notify.follower, "as_told", _without(next=None)),
    (waaler.cli.status, "_lines", _with_rows("next", "  next     Mon 22 Jun, 06:00; 60 s, day")),
    (waaler.cli.status, "_lines", _with_rows("waits", "  waits    for the next cycle")),
    (waaler.cli.status, "_last", lambda _: lambda *_: "no run yet"),
    (waaler.keeper.status, "one_line", lambda _: lambda now, at: "waiting; next run today, 06:00"),
    (waaler.records.reader.Reader, "last_full", _ran_its_time),
    (waaler.page.views, "_cell", lambda true: lambda name, value, *more: true(name, "12 %" if "%" in value else value, *more)),
    (waaler.records.reader.Reader, "samples", lambda true: lambda *asked: [replace(r, mean=r.mean + 5.0) for r in true(*asked)]),
    (waaler.records.store.Store, "memory", lambda true: lambda *asked: replace(true(*asked), last_full_s=None)),
    (week, "noted", lambda true: lambda before, *asked: true(before, *asked) if before is None else None),
]  # fmt: skip


@pytest.mark.parametrize(("room", "name", "own"), [*SUMPS, *WORDS])
def test_a_face_with_a_reckoning_or_words_of_its_own_is_noticed(
    room: Any, name: str, own: Own, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, name, own(getattr(room, name)))

    assert any(found(folder_of(tmp_path, seed), seed, monkeypatch) for seed in (3, 4, 5))


def folder_of(folder: Path, seed: int) -> Path:
    own = folder / str(seed)
    own.mkdir()
    return own
